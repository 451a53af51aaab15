; Fills first to last with `value`.

.alias at zp

        lda #<first
        sta at
        lda #>first
        sta at+1
        ldy #0
next:   lda #value
        sta (at),y
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
done:   jmp monitor
