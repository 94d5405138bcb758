package words_test

import (
	"fmt"

	"latewood/events/words"
)

// A fault in a key is seen in the output; it stops nobody's work.
func ExampleSay() {
	fmt.Println(words.Say("example.no-such-key", "block", "north"))
	// Output: ⟦example.no-such-key⟧
}
