//go:build tinygo

package main

import board "github.com/holdline/holdline/examples/boards/lm3s6965evb"

func text(s string) {
	for i := range len(s) {
		board.Send(s[i])
	}
}

func end() { board.Send('\n') }

func number(v uint32) {
	var digits [10]byte
	i := len(digits)
	for {
		i--
		digits[i] = '0' + byte(v%10)
		v /= 10
		if v == 0 {
			break
		}
	}
	board.Send(' ')
	for ; i < len(digits); i++ {
		board.Send(digits[i])
	}
}

func hex(v uint32) {
	board.Send(' ')
	for shift := 28; shift >= 0; shift -= 4 {
		board.Send("0123456789abcdef"[v>>shift&15])
	}
}

func line(name string, v uint32) {
	text(name)
	number(v)
	end()
}
