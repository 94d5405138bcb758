package natsbox

import "net"

// Pipe is a raw connection to the broker, for saying what the client library would not say.
func (b *Box) Pipe() (net.Conn, error) { return b.srv.InProcessConn() }
