; Prints codes 20 to 5F, the whole set, `turns` times over.

        lda #$0d
        jsr char_out
        ldy #turns
again:  ldx #$20
next:   txa
        jsr char_out
        inx
        cpx #$60
        bne next
        dey
        bne again
        jmp monitor
