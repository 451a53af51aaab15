; Moves first to last so that it begins at `to`. Where the two overlap it still comes out right:
; downward moves go up from the bottom, upward moves go down from the top.

.alias from zp
.alias at zp+2
.alias step zp+4
.alias edge zp+6

        ldx #15
        lda #<to
        cmp #<first
        lda #>to
        sbc #>first
        bcs plan
        ldx #7
plan:   ldy #7
copy:   lda plans,x
        sta from,y
        dex
        dey
        bpl copy
        iny
next:   lda (from),y
        sta (at),y
        lda from
        cmp edge
        bne on
        lda from+1
        cmp edge+1
        beq done
on:     ldx #2
both:   clc
        lda from,x
        adc step
        sta from,x
        lda from+1,x
        adc step+1
        sta from+1,x
        dex
        dex
        bpl both
        bmi next
done:   jmp monitor

plans:  .word first, to, 1, last
        .word last, to+last-first, $ffff, first
