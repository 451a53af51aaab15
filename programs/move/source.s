; Moves first to last so that it begins at `to`. Where the two overlap it still comes out right: a copy that
; begins below is made from the first byte up, any other from the last byte down. Which one it is, is known
; when this is assembled.

.alias from zp
.alias at zp+2

.alias apart to-first
.alias sign apart&$10000
.alias below sign/$10000        ; 1 where the copy begins below, else 0
.alias reach last-first
.alias back reach*below
.alias end to+reach
.alias begin last-back
.alias begin_at end-back
.alias edge first+back
.alias twice below*2
.alias step twice+$ffff         ; 1 or -1, in sixteen bits

        ldx #3
place:  lda places,x
        sta from,x
        dex
        bpl place
        ldy #0
next:   lda (from),y
        sta (at),y
        lda from
        cmp #<edge
        bne on
        lda from+1
        cmp #>edge
        beq done
on:     ldx #2
both:   clc
        lda from,x
        adc #<step
        sta from,x
        lda from+1,x
        adc #>step
        sta from+1,x
        dex
        dex
        bpl both
        bmi next
done:   jmp monitor

places: .word begin, begin_at
