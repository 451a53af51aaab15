; The monitor of the simulated board: 256 bytes, FF00-FFFF, vectors included.
;
; It reads a line of keys, echoing each, and does what the line says: look at memory, put bytes
; there, run a program. The lines before this source (see monitor.py) give the addresses of the
; machine and the signs of the dialect. ANSWERS is 1 where a deposit and a run are answered with
; the address and the byte that is there, PROMPTS is 1 where a sign asks for the next line; one of
; them is 0, and a target that is not wanted is multiplied away.
;
; A character at its place in the line is judged by number, which hands on a code, not the
; character: the character with the bits of "0" turned over, less 71. Hex digits never come out.
;
; Where a byte does two things, a comment says so: there is no byte to spare.

.alias COLON  $99       ; the codes of ":", blank and the key that ends a line
.alias BLANK  $9f
.alias ENDS   $cc
.alias CR     $0d
.alias ESC    $1b
.alias RUB    $5f
.alias LINE   $0200     ; 128 places: 127 characters and the key that ends the line

.alias at     WORK      ; where bytes go, where a dump is, where a program starts
.alias num    WORK+2    ; the number read last; for a dump its last address

.org $ff00

none:   cmp #BLANK      ; between the bytes of a deposit, X is at what is no digit
        beq store
last:   cmp #ENDS
        beq ready

refuse: lda #ERROR      ; the cancel key, a full line, a line that is not understood, BRK
        jsr out
fresh:  jsr newline     ; programs come back here
ready:  cld
        ldx #0
        txs             ; the first push goes to 0100, the next to 01FF
        lda #PROMPT
        jsr PROMPTS*out+ANSWERS*silent

getkey: jsr in
        cmp #ESC
        beq refuse
        jsr out
        sta LINE,x
        cmp #CR
        beq parse
        cmp #RUB
        bne next
        dex             ; the sign itself, and the one before it
        dex
next:   inx
        bpl getkey
        brk             ; nothing left to rub out, or the line is full: goes to refuse

parse:  tsx             ; X = 0, the start of the line
        jsr number
        bne bare
        ldy num
        sty at
        ldy num+1
        sty at+1
        cmp #RUNS
        beq run
        cmp #COLON
        beq ANSWERS*show+PROMPTS*store
        cmp #TO
        bne single
        inx
        jsr number
        bne refuse
single: cmp #ENDS
        bne refuse
show:   jsr dump
        jsr newline
        jsr number      ; finds no digit: the code at X once more
bare:   cmp #COLON
        bne last

store:  inx
more:   jsr number
        bne none
        lda num
        sta (at),y
bump:   inc at          ; carry is set when bytes are stored, clear in a dump
        bne bumped
        inc at+1
bumped: bcs more
        lda at
        and #7
        bne cell
        jsr newline
dump:   lda at+1        ; rows from at to num, the last one without its new line
        jsr hex
        lda at
        jsr hex
        lda #$3a        ; a colon
        jsr out
cell:   lda #$20        ; a blank
        jsr out
        ldy #0
        lda (at),y
        jsr hex
        lda at
        cmp num
        lda at+1
        sbc num+1
        bcc bump
end:    iny             ; number ends here too: Z and Y = 0 when there was a digit
        rts

run:    jsr ANSWERS*dump+PROMPTS*silent
        jmp (at)

number: ldy #0          ; hex digits from X on, the last four count, into num; A = the code
        sty num         ; of what follows, X its place, carry set
        sty num+1
test:   lda LINE,x
        eor #$30
        cmp #10
        bcc take
        sbc #$71
        cmp #6
        bcs end
        adc #10
take:   ldy #3
shift:  asl num
        rol num+1
        dey
        bpl shift
        ora num
        sta num
        inx
        bne test        ; always: every line has its end

in:     lda KEYSTATUS   ; waits for a key; its code in A, X and Y kept
        bpl in
        lda KEYDATA
        rts

hex:    pha             ; prints A as two digits; Y and X kept
        lsr
        lsr
        lsr
        lsr
        jsr digit
        pla
digit:  and #$0f
        cmp #10
        sed
        adc #$30
        cld
        .byte $2c       ; BIT: takes the next two bytes for its address
newline: lda #CR
out:    bit DISPLAYSTATUS ; waits for the display, then prints A; A, X and Y kept
        bmi out
        sta DISPLAYDATA
silent: rts

        .word fresh     ; NMI
        .word PROMPTS*fresh+ANSWERS*refuse ; reset
        .word refuse    ; BRK and IRQ
