; Lamplighter: the board. Five by five lamps; pressing one turns it and its neighbours over. All lit: the street is done.
;
; Memory: BOARD is 25 bytes of the program's own, 0 dark and 1 lit, place = 5 * row + column.

BOARD = $0340
HERE  = $035C           ; the place that was pressed
BITS  = $035D
COUNT = $035E

; X = number of a level: its 25 bits go onto the board, highest bit first.
load_level:
        TXA
        ASL
        ASL
        TAX             ; four bytes a level
        LDY #0
next_byte:
        LDA levels,X
        STA BITS
        LDA #8
        STA COUNT
next_bit:
        ASL BITS
        LDA #0
        ROL
        STA BOARD,Y
        INY
        CPY #25
        BEQ loaded
        DEC COUNT
        BNE next_bit
        INX
        JMP next_byte
loaded:
        RTS

; X = place: it and its neighbours turn over. X is kept.
press:
        STX HERE
        JSR flip
        LDA column,X
        BEQ no_left
        DEX
        JSR flip
        INX
no_left:
        LDA column,X
        CMP #4
        BEQ no_right
        INX
        JSR flip
        DEX
no_right:
        CPX #5
        BCC no_up
        TXA
        SEC
        SBC #5
        TAX
        JSR flip
        LDX HERE
no_up:
        CPX #20
        BCS no_down
        TXA
        CLC
        ADC #5
        TAX
        JSR flip
        LDX HERE
no_down:
        RTS

flip:
        LDA BOARD,X
        EOR #1
        STA BOARD,X
        RTS

; A = 1 when every lamp is lit.
solved:
        LDX #24
        LDA #1
solved_next:
        AND BOARD,X
        DEX
        BPL solved_next
        RTS

column:
        .byte 0,1,2,3,4, 0,1,2,3,4, 0,1,2,3,4, 0,1,2,3,4, 0,1,2,3,4

; Eight levels. Each was made from the finished street by pressing some lamps, so each can be done.
levels:
        .include levels
