; Shows the code of each key as the keyboard's register gives it, all eight bits.
; The key `stop` is shown too, and ends.

        lda #$0d
        jsr char_out
await:   lda key_status
        bpl await
        ldy key_data
        tya
        lsr
        lsr
        lsr
        lsr
        jsr digit
        tya
        and #$0f
        jsr digit
        lda #$20
        jsr char_out
        tya
        and #$7f
        cmp #stop
        bne await
        jmp monitor

digit:  cmp #10
        bcc below
        adc #6                  ; and the carry: on to the letters
below:  adc #'0
        jmp char_out
