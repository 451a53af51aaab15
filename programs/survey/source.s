; One letter a page, sixteen pages a row: W takes what is written, P takes some bits of it,
; R only reads, . nothing there, I not touched (pages skip_first to skip_last).
; The byte tried in each page has the low address of the byte before this program,
; so the program never tries itself. What was there is put back at once.

.alias at zp
.alias was zp+2
.alias change zp+3

        ldx #0                  ; X: the page
        stx at
page:   stx at+1
        txa
        and #$0f
        bne same
        lda #$0d                ; a new row opens with the first digit of its addresses
        jsr char_out
        txa
        lsr
        lsr
        lsr
        lsr
        cmp #10
        bcc below
        adc #6                  ; and the carry: on to the letters
below:  adc #'0
        jsr char_out
        lda #$20
        jsr char_out
same:   ldy #'I
        cpx #skip_first
        bcc try
        cpx #skip_last
        bcc show
        beq show
try:    ldy #before
        lda (at),y
        sta was
        eor #$ff
        sta (at),y
        eor (at),y              ; the bits that did not take it
        sta change
        lda was
        sta (at),y
        lda change
        ldy #'W
        cmp #0
        beq show
        ldy #'P
        cmp #$ff
        bne show
        ldy #0
        lda (at),y
look:   cmp (at),y              ; a page all of one value is nobody's answer
        bne rom
        iny
        bne look
        ldy #'.
        bne show
rom:    ldy #'R
show:   tya
        jsr char_out
        inx
        bne page
        jmp monitor
