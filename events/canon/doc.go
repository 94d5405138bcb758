// Package canon holds JSON values exactly and writes them in one form only: RFC 8785, the JSON Canonicalization
// Scheme.
//
// The bytes that this package writes are what the ledger stores, hashes and proves, so they can never change. Three
// rules make them:
//
//   - object members stand in the order of their names' UTF-16 code units;
//   - a number is an IEEE 754 double in the shortest text that reads back as the same double (ECMA-262,
//     Number::toString);
//   - strings are UTF-8 with the fewest escapes that JSON allows. Nothing is normalised here: text stays as given.
//
// Reading is stricter than RFC 8259 asks: a doubled member name, bytes that are not UTF-8, half of a surrogate pair, a
// number that no double can hold, text behind the value and nesting deeper than MaxDepth are all refused, because each
// of them is a way for two readers to see two different records in the same bytes.
//
// A Value keeps the text of a number as it was read, so that a refusal can show what the person wrote.
package canon
