package link

import "io"

var errEnd = io.EOF
