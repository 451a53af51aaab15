; Twenty-one stars. You and the machine take one, two or three in turn; whoever takes the last wins.

.alias taken zp

        ldx #21                 ; X: the stars left
turn:   lda #$0d
        jsr char_out
        txa
        tay
star:   lda #$2a                ; a star
        jsr char_out
        dey
        bne star
        jsr say                 ; Y is 0
ask:    jsr key_in
        sec
        sbc #'0
        beq ask
        cmp #4
        bcs ask
        sta taken
        cpx taken
        bcc ask
        jsr take
        beq won
        ldy #me-text
        jsr say
        txa
        and #3                  ; leave a multiple of four
        bne some
        lda #1                  ; cannot: play for time
some:   sta taken
        jsr take
        bne turn
        ldy #lost-text
        bne end
won:    ldy #wins-text
end:    lda #$0d
        jsr char_out
        jsr say
        jmp monitor

take:   lda taken
        clc
        adc #'0
        jsr char_out
        txa
        sec
        sbc taken
        tax
        rts

say:    lda text,y
        beq said
        jsr char_out
        iny
        bne say
said:   rts

text:   .byte " YOU ", 0
me:     .byte " ME ", 0
wins:   .byte "YOU WIN", 0
lost:   .byte "I WIN", 0
