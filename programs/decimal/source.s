; Adds 99 and 01 in decimal mode. The sum is 00 with a carry on every part that has the mode.
; A CMOS part sets Z from that sum; an NMOS part leaves Z as the binary sum 9A made it.

        lda #$0d
        jsr char_out
        ldx #0                  ; CMOS
        sed
        clc
        lda #$99
        adc #$01
        cld
        beq say
        ldx #4                  ; NMOS
        cmp #0
        beq say
        ldx #8                  ; NONE: it added in binary
say:    ldy #4
next:   lda words,x
        jsr char_out
        inx
        dey
        bne next
        jmp monitor

words:  .byte "CMOSNMOSNONE"
