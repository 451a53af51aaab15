; The bootstrap: takes bytes from the keyboard, four bits a key, and stores them in one page's length from
; window on. Nothing is checked here: what it brought is proven afterwards.
;
; A key with bit 6 clear (20 to 3F) sets the place, 8 times its low five bits; a blank, place 0, ends in the
; monitor. Other keys (50 to 5F) are halves of bytes, high one first, stored one after the other. So a lost
; or doubled key spoils no more than the bytes up to the next place, and nothing beyond window + 255 is
; ever written. Uses one cell of page zero.

bring:  jsr key_in
        asl
        bpl place
        asl
        asl
        asl
        sta cells
        jsr key_in
        and #$0f
        ora cells
        sta window,y
        iny
        bne bring               ; past the window's end any place will do
place:  asl
        asl
        tay
        bne bring
        jmp monitor
