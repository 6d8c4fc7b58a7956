; Lamplighter: the game. What differs from machine to machine stands in the file that includes this one:
; LEVELS (how many), ROW_LOW / ROW_HIGH tables, LIT and DARK characters, title_row, key.

POINTER = $FB
LEVEL   = $035F
PLACE   = $0360
ROW     = $0361

start:
        JSR title
        LDX #0
        STX LEVEL
street:
        LDX LEVEL
        JSR load_level
turn:
        JSR draw
        JSR key         ; A..Y name the lamps, row by row
        SEC
        SBC #$41
        BCC turn
        CMP #25
        BCS turn
        TAX
        JSR press
        JSR solved
        CMP #1
        BNE turn
        JSR draw
        INC LEVEL
        LDA LEVEL
        CMP #8
        BNE street
        RTS

; The title, with the number of this copy in it.
title:
        LDX #0
title_next:
        LDA title_text,X
        BEQ title_done
        STA title_row,X
        INX
        BNE title_next
title_done:
        RTS

; The lamps, two columns apart.
draw:
        LDX #0
        STX PLACE
        STX ROW
draw_row:
        LDX ROW
        LDA row_low,X
        STA POINTER
        LDA row_high,X
        STA POINTER+1
        LDY #0
draw_lamp:
        LDX PLACE
        LDA BOARD,X
        TAX
        LDA lamps,X
        STA (POINTER),Y
        INC PLACE
        INY
        INY
        CPY #10
        BNE draw_lamp
        INC ROW
        LDA ROW
        CMP #5
        BNE draw_row
        RTS
