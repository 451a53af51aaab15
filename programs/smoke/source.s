; Tries the processor group by group. Y holds the letter of the group at work;
; whatever comes out wrong prints that letter and ends. All well prints OK.

.alias kept zp
.alias at zp+2

        cld
        lda #$0d
        jsr char_out

        ldy #'B                 ; branches: each of the eight, not taken and taken
        ldx #0
        clc
        bcs bad
        bcc b1
        inx
b1:     sec
        bcc bad
        bcs b2
        inx
b2:     lda #$80
        beq bad
        bpl bad
        bne b3
        inx
b3:     bmi b4
        inx
b4:     lda #0
        bne bad
        bmi bad
        beq b5
        inx
b5:     bpl b6
        inx
b6:     clv
        bvs bad
        bvc b7
        inx
b7:     bit marks+1             ; bit 6 sets overflow
        bvc bad
        bvs b8
        inx
b8:     txa                     ; X counted what went astray; asked in two ways
        bne bad
        cpx #1
        bcs bad

        ldy #'F                 ; flags of adding, subtracting, comparing
        clc
        lda #$7f
        adc #1                  ; 80: overflow, negative
        bvc bad
        bpl bad
        bcs bad
        adc #$80                ; 00: overflow, zero, carry
        bvc bad
        bne bad
        bcc bad
        sbc #1                  ; FF: borrow
        bcs bad
        bpl bad
        cmp #$ff
        bne bad
        bcc bad

        ldy #'S                 ; stack: a byte, the flags, and the pointer back where it was
        tsx
        stx kept
        pha
        php
        clc
        lda #0
        plp
        bcc bad
        pla
        cmp #$ff
        bne bad
        tsx
        cpx kept
        beq call

bad:    tya
        jsr char_out
        jmp monitor

call:   ldy #'R                 ; a subroutine, and the return from it
        ldx #2
        jsr there
        bne bad

        ldy #'X                 ; indexed by X, in the zero page and beyond
        ldx #2
        lda #$5a
        sta kept,x              ; into `at`
        lda marks-2,x
        cmp #$a5
        bne bad
        eor at
        cmp #$ff
        bne bad

        lda #<marks             ; indirect: through a pointer, both ways, and a jump
        sta at
        lda #>marks
        sta at+1
        ldy #1
        lda (at),y
        ldy #'I
        cmp #$5a
        bne bad
        ldx #2
        lda (kept,x)            ; through `at`
        cmp #$a5
        bne bad
        lda #<good
        sta at
        lda #>good
        sta at+1
        jmp (at)

there:  dex
        dex
        rts

marks:  .byte $a5, $5a

good:   lda #'O
        jsr char_out
        lda #'K
        jsr char_out
        jmp monitor
