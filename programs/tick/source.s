; Prints a full stop every 500,000 cycles, 32 times.
; It writes to the display itself and never waits for it: half a second after the last
; character the display is long ready, so nothing but the processor's clock sets the pace.
; All of it must lie in one page: a branch into another page takes a cycle more.

.alias ticks zp

        lda #$0d
        jsr char_out
        lda #32
        sta ticks
tick:   nop                     ; 2
        ldy #217                ; 2
        ldx #161                ; 2
hold:   nop                     ; 9 for each turn of X, the last one 8
        nop
        dex
        bne hold
        dey                     ; 5 for each turn of Y, the last one 4
        bne hold
        lda #$2e                ; 2
        sta display_data        ; 4
        dec ticks               ; 5
        bne tick                ; 3
        jmp monitor
