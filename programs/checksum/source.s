; CRC-16 over first to last: polynomial 1021, high bit first, starting from 0000,
; nothing reflected, nothing inverted. Prints the four digits.

.alias at zp
.alias low zp+2
.alias high zp+3

        lda #$0d
        jsr char_out
        lda #<first
        sta at
        lda #>first
        sta at+1
        ldy #0
        sty low
        sty high
next:   lda (at),y
        eor high
        sta high
        ldy #8
roll:   asl low
        rol high
        bcc even
        lda low
        eor #$21
        sta low
        lda high
        eor #$10
        sta high
even:   dey
        bne roll
        lda at
        cmp #<last
        bne on
        lda at+1
        cmp #>last
        beq done
on:     inc at
        bne next
        inc at+1
        bne next
done:   lda high
        jsr hex
        lda low
        jsr hex
        jmp monitor

hex:    tax
        lsr
        lsr
        lsr
        lsr
        jsr digit
        txa
        and #$0f
digit:  cmp #10
        bcc below
        adc #6                  ; and the carry: on to the letters
below:  adc #'0
        jmp char_out
