; Address in address: writes the low half of each address into its byte, then reads all of them;
; then the same with the high half. Prints address, D L or H, expected, found; OK when all agree.
; D: the byte did not even take what was written. L, H: another address wrote over it.

.alias at zp
.alias mode zp+2                ; bit 7: reading only

        ldx #0                  ; X: 0 for the low half, 1 for the high one
half:   lda #0
turn:   sta mode
        lda #<first
        sta at
        lda #>first
        sta at+1
        ldy #0
cell:   bit mode
        bmi read
        lda at,x
        sta (at),y
read:   lda (at),y
        cmp at,x
        bne bad
        lda at
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
        eor #$80
        bmi turn
        inx
        cpx #2
        bne half
        lda #$0d
        jsr char_out
        lda #'O
        jsr char_out
        lda #'K
        jsr char_out
        jmp monitor

bad:    pha
        lda at,x
        pha
        bit mode
        bmi line
        ldx #2                  ; D
line:   lda #$0d
        jsr char_out
        lda at+1
        jsr hex
        lda at
        jsr hex
        lda #$20
        jsr char_out
        lda letters,x
        jsr char_out
        pla
        jsr apart
        pla
        jsr apart
        jmp monitor

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

letters: .byte "LHD"
