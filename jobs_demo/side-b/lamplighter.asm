; Lamplighter for the machine of side B. The screen is 24 rows of 40 characters from $0400, its rows not in order.
; Characters have bit 7 set. Keys appear at $C000 with bit 7 set; touching $C010 takes one away.

        .org $2000

        .include game
        .include board

title_row = $0400

key:    LDA $C000
        BPL key
        STA $C010
        AND #$7F
        RTS

lamps:  .byte $AE, $AA
row_low:
        .byte $00, $80, $00, $80, $28
row_high:
        .byte $06, $06, $07, $07, $04

title_text:
        .high "LAMPLIGHTER"
        .byte 0
