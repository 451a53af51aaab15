; Fills the screen: each row opens with its number, the rest of it counts the columns.
; No new lines are sent in between: the display must wrap. The last row is its number alone,
; so that nothing scrolls while it is looked at. Any key ends.

        lda #$0d
        jsr char_out
        ldx #1                  ; X: the row
row:    txa
        ldy #$2f
        sec
tens:   iny
        sbc #10
        bcs tens
        adc #$3a
        pha
        tya
        jsr char_out
        pla
        jsr char_out
        cpx #rows
        beq look
        inx
        ldy #3                  ; Y: the column
column: tya
        sec
ones:   sbc #10
        bcs ones
        adc #$3a
        jsr char_out
        iny
        cpy #columns+1
        bcc column
        bcs row
look:   jsr key_in
        jmp monitor
