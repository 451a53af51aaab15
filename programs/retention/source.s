; Fills first to last with `pattern`, waits, compares; then the same with the complement.
; One unit of `wait` is 328,711 cycles, a third of a second at 1 MHz.
; Prints address, expected, found; OK when nothing was forgotten.

.alias at zp
.alias want zp+2
.alias mode zp+3                ; bit 7: comparing
.alias room zp+4                ; lines that may still be printed
.alias left zp+5

        lda #limit
        sta room
        lda #pattern
half:   sta want
        lda #0
turn:   sta mode
        lda #<first
        sta at
        lda #>first
        sta at+1
cell:   ldy #0
        lda want
        bit mode
        bmi read
        sta (at),y
        bpl step
read:   eor (at),y
        beq step
        eor want
        pha
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
step:   lda at
        cmp #<last
        bne on
        lda at+1
        cmp #>last
        beq all
on:     inc at
        bne cell
        inc at+1
        bne cell
all:    lda mode
        bmi compared
        lda #wait
        sta left
        ldx #0
        ldy #0
idle:   dex
        bne idle
        dey
        bne idle
        dec left
        bne idle
        lda #$80
        bmi turn
compared: lda want
        eor #$ff
        cmp #pattern
        bne half
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
