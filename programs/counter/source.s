; Prints 00 to FF in hex, eight in a row.

        ldy #0
next:   tya
        and #7
        bne same
        lda #$0d
        jsr char_out
same:   tya
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
        iny
        bne next
        jmp monitor

digit:  cmp #10
        bcc below
        adc #6                  ; and the carry: on to the letters
below:  adc #'0
        jmp char_out
