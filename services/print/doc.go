// Package print makes what is printed, cut and hung up: cards with a code that a phone or a hand scanner reads.
//
// The same input gives the same bytes, on every machine: the date is an argument, the font comes with the program, and the
// code is drawn as one shape, without pictures. So a sheet can be printed again years later, and two copies compared.
//
// # A card
//
// It is as large as a bank card (ISO/IEC 7810 ID-1: 85.60 mm by 53.98 mm, from memory), so that common sleeves and holders
// fit. People read the tag; the code holds the pseudonym, which every form and sheet takes where a person stands, also
// without the register at hand, and which means one person on all farms. The code is a QR code of level M with the four
// empty modules around it that its standard asks for (ISO/IEC 18004, from memory).
package print
