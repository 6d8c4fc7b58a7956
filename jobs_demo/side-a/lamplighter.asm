; Lamplighter for the machine of side A. The screen is 25 rows of 40 characters from $0400.
; The volume puts the load address in front of this file; the code itself begins at $2000.

        .org $2000

        .include game
        .include board

title_row = $0400

key:    JSR $FFE4       ; the machine's own routine: the next key, 0 when there is none
        CMP #0
        BEQ key
        RTS

lamps:  .byte $2E, $2A
row_low:
        .byte $58, $A8, $F8, $48, $98
row_high:
        .byte $05, $05, $05, $06, $06

title_text:
        .text "LAMPLIGHTER  COPY "
        .text "<<SERIAL-GOES-HERE>>"
        .byte 0
