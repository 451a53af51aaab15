; A second small monitor, for tests: letters for commands. See letters.toml for how it speaks.
;   S 0280 A9 00    stores      D 0280 028F   dumps      G 0280   goes
; The cancel key (18) or a 41st key drops the line. Registers come from the profile's symbols.

.alias line $0200       ; 40 keys and the end
.alias place $e0
.alias number $e2
.alias last $e4
.alias digits $e6

.org $fe00
start:  cld
        ldx #$ff
        txs
again:  jsr newline
ready:  lda #$2b
        jsr out
        jsr blank
        ldx #0
get:    lda key_status
        bpl get
        lda key_data
        cmp #$18
        beq drop
        cmp #$0d
        beq whole
        cpx #40
        beq drop
        sta line, x
        jsr out
        inx
        bne get

drop:   ldy #dropped-texts
        bne say
what:   ldy #refused-texts
say:    lda texts, y
        beq ready
        jsr out
        iny
        bne say

whole:  sta line, x
        jsr out
        ldx #1
        lda line
        cmp #$0d
        beq ready
        cmp #$53
        beq store
        cmp #$44
        beq dump
        cmp #$47
        bne what
        jsr read
        beq what
        jmp (number)

store:  jsr read
        beq what
        jsr toplace
next:   jsr read
        beq ended
        ldy #0
        lda number
        sta (place), y
        inc place
        bne next
        inc place+1
        jmp next
ended:  lda line, x
        cmp #$0d
        bne what
        jmp ready

dump:   jsr read
        beq what
        jsr toplace
        jsr read
        beq what
        lda number
        sta last
        lda number+1
        sta last+1
row:    lda place+1
        jsr hex
        lda place
        jsr hex
cell:   jsr blank
        ldy #0
        lda (place), y
        jsr hex
        lda place
        cmp last
        bne on
        lda place+1
        cmp last+1
        bne on
        jsr newline
        jmp ready
on:     inc place
        bne same
        inc place+1
same:   lda place
        and #$0f
        bne cell
        jsr newline
        jmp row

toplace: lda number
        sta place
        lda number+1
        sta place+1
        rts

read:   lda #0          ; the hex number at X: Z set when there is none
        sta number
        sta number+1
        sta digits
skip:   lda line, x
        cmp #$20
        bne digit
        inx
        bne skip
digit:  lda line, x
        cmp #$30
        bcc done
        cmp #$3a
        bcc figure
        cmp #$41
        bcc done
        cmp #$47
        bcs done
        sbc #$36
figure: and #$0f
        ldy #4
shift:  asl number
        rol number+1
        dey
        bne shift
        ora number
        sta number
        inc digits
        inx
        bne digit
done:   lda digits
        rts

hex:    pha
        lsr
        lsr
        lsr
        lsr
        jsr one
        pla
        and #$0f
one:    cmp #10
        bcc low
        adc #6
low:    adc #$30
        bne out
blank:  lda #$20
        bne out
newline: lda #$0d
out:    bit display_status
        bmi out
        sta display_data
        rts

texts:
refused: .byte "WHAT", 13, 0
dropped: .byte " DROPPED", 13, 0

.advance $fffa, $ea
        .word again, start, again
