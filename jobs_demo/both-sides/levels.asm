; Eight levels, 25 bits each in four bytes, and the lamps that light them all.
        .byte $EC, $35, $FF, $80   ; DHJ
        .byte $E6, $82, $14, $00   ; EMPX
        .byte $43, $29, $5D, $80   ; ACJMR
        .byte $3C, $56, $48, $00   ; BHLQRY
        .byte $D3, $8B, $60, $00   ; ADFGIVY
        .byte $50, $C0, $F1, $80   ; CFGIJKLV
        .byte $3B, $BF, $6C, $00   ; CFHIMPQVY
        .byte $74, $BF, $29, $00   ; AGJNQRSUVX
