; The reader: prints memory as four characters for three bytes, six bits each, the highest first, as the
; checker prints its sums: 20 + value, the 64-character set. A monitor's dump takes 30 for eight.
;
; Handed in, in page zero: at = address of the first byte, groups = threes of bytes, 0 for 256.
; Needs home of the checker.

.alias at     cells
.alias groups cells+3
.alias high   cells+4
.alias low    cells+5
.alias extra  cells+6

read:   ldy #0
group:  jsr fetch
        sta high
        jsr fetch
        sta low
        jsr fetch
        sta extra
        ldx #4
symbol: lda #2                  ; the 1 reaches bit 7 when six bits are in
bits:   asl extra
        rol low
        rol high
        rol
        bpl bits
        sbc #$5f                ; the last rol left carry clear: 80 + value less 60
        jsr char_out
        dex
        bne symbol
        dec groups
        bne group
        jmp home

fetch:  lda (at),y
        inc at
        bne same
        inc at+1
same:   rts
