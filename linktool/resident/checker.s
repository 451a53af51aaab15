; The checker: sums a stretch of memory piece by piece and prints each sum as four characters.
;
; A sum is 24 bits: high and low are the CRC of polynomial 1021, high bit first, and extra adds up
; low at every byte, so that what the CRC cannot tell apart differs there (but for one in 256).
; A piece ends where Y wraps: the first one has 1 to 256 bytes, all others 256. The start of the
; first sum is handed in; each later one begins with high = 1, so that leading zeros count.
;
; Handed in, in page zero: at = address of the first byte less index, index, pieces, high, low, extra.
; Each character carries six bits, the highest first, as 20 + value: the 64-character set.
; The byte of the table-free CRC step: with x = high ^ byte, x ^= x >> 4, the new CRC is
; (low << 8) ^ (x << 12) ^ (x << 5) ^ x. 91 cycles a byte, 92 where at + Y crosses a page.

.alias at     cells
.alias index  cells+2
.alias pieces cells+3
.alias high   cells+4
.alias low    cells+5
.alias extra  cells+6
.alias temp   cells+7

check:  ldy index
byte:   lda (at),y
        jsr sum
        iny
        bne byte

        ldx #4                  ; 24 bits from the top, zeros drawn in: all three end as 0
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

        inc high
        inc at+1
        dec pieces
        bne byte
home:   jmp monitor

sum:    eor high                ; takes the byte in A; Y is kept
        sta high
        lsr
        lsr
        lsr
        lsr
        eor high
        tax                     ; x
        asl
        asl
        asl
        asl
        sta temp                ; x << 4
        eor low
        sta high
        txa
        lsr
        lsr
        lsr
        eor high
        sta high
        txa
        asl temp                ; x << 5; carry = bit 3 of x
        eor temp
        sta low
        adc extra
        sta extra
        rts
