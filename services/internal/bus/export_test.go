package bus

// Pack and Unpack are how runs of records travel.
var (
	Pack   = pack
	Unpack = unpack
)
