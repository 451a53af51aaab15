; The receiver: takes blocks from the keyboard register, six bits a key, and answers with one character.
;
; A block is the keys between two marks. The key that is the mark is none of the 64 characters, and the
; monitor's cancel key: should the monitor get a block after a reset, it drops it. All keys of a block go
; into one sum (see the checker); the sender chooses the last ones so that it comes out as 0 in all its 24
; bits. Six low bits of each key in turn, the highest first, fill bytes: address less 1 (low byte first),
; count, data, and some that only the sum needs. The bytes wait in a buffer and go to memory only when
; the sum is right: a spoilt block writes nothing, and nothing is ever written but what a block names.
; Keys that came one more than a multiple of four leave the last key in last: that is the answer.
; A count of 0 ends in the monitor. A block that is wrong, or empty, is passed over in silence.
;
; The answer goes to the display's register at once: the sender leaves a character's time between two.
; Needs sum and home of the checker. Cells of page zero: cells as the checker, buffer of `size` bytes.

.alias keep   cells+2           ; the key in hand, its bits leaving at the top, a 1 behind them
.alias last   cells+3           ; the byte in hand, bits coming in below a 1
.alias high   cells+4
.alias low    cells+5
.alias extra  cells+6
.alias count  buffer+2

receive:
empty:  ldy #0                  ; begin a block: Y bytes are in the buffer
        sty keep
        lda #1
        sta high
        sta low
        sta extra
        bne begin               ; always
full:   lda last
        sta buffer,y
        iny
        cpy #size
        bcc room
        dey                     ; too many: the last place takes them all
room:   lda #1
begin:  sta last
shift:  asl keep
        beq key                 ; the 1 is out: next key
        rol last
        bcc shift
        bcs full                ; always

key:    lda key_status
        bpl key
        lda key_data
        sec
        rol                     ; bit 7 is not looked at; the 1 marks the end of the key
        cmp #mark+mark+1
        beq ended
        sta keep
        jsr sum
        asl keep                ; bit 6 is not data
        bne shift               ; always

ended:  lda high
        ora low
        ora extra
        bne empty
        ldy count
        beq home
copy:   lda buffer+2,y
        sta (buffer),y
        dey
        bne copy
        lda last
        sta display_data
        bne empty               ; always
