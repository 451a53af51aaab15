; March C- over first to last, once for each background 00, 55, 33, 0F.
; Six passes: write; up, read and write the complement, twice; down the same, twice; read.
; Ten operations a byte and background. Prints address, expected, found; OK when there was none.

.alias at zp
.alias want zp+2                ; a read expects this, a write puts down its complement
.alias mode zp+3                ; bit 7: the pass reads, bit 6: it writes, bit 0: it runs down
.alias ground zp+4
.alias room zp+5                ; lines that may still be printed

        lda #limit
        sta room
        ldx #3
base:   stx ground
        lda grounds,x
        eor #$ff
        sta want
        ldx #0                  ; X: the pass
pass:   lda modes,x
        sta mode
        lsr
        lda #<first
        ldy #>first
        bcc set
        lda #<last
        ldy #>last
set:    sta at
        sty at+1
cell:   ldy #0
        bit mode
        bpl write
        lda (at),y
        cmp want
        bne bad
write:  bit mode
        bvc move
        lda want
        eor #$ff
        sta (at),y
move:   lda mode
        lsr
        lda at
        bcs down
        cmp #<last
        bne up
        lda at+1
        cmp #>last
        beq passed
up:     inc at
        bne cell
        inc at+1
        bne cell
down:   cmp #<first
        bne less
        ldy at+1
        cpy #>first
        beq passed
less:   cmp #0
        bne lower
        dec at+1
lower:  dec at
        jmp cell
passed: lda want
        eor #$ff
        sta want
        inx
        cpx #6
        bne pass
        ldx ground
        dex
        bpl base
        lda room
        cmp #limit
        bne done
        lda #$0d
        jsr char_out
        lda #'O
        jsr char_out
        lda #'K
        jsr char_out
done:   jmp monitor

bad:    pha
        lda #$0d
        jsr char_out
        lda at+1
        jsr hex
        lda at
        jsr hex
        lda want
        jsr apart
        pla
        jsr apart
        dec room
        beq done
        ldy #0
        jmp write

apart:  pha
        lda #$20
        jsr char_out
        pla
hex:    tay
        lsr
        lsr
        lsr
        lsr
        jsr digit
        tya
        and #$0f
digit:  cmp #10
        bcc below
        adc #6                  ; and the carry: on to the letters
below:  adc #'0
        jmp char_out

modes:  .byte $40, $c0, $c0, $c1, $c1, $80
grounds: .byte $0f, $33, $55, $00
