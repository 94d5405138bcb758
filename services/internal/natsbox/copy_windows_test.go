package natsbox_test

// copyMain does nothing: Windows has no file size limit to stand in for a full disk.
func copyMain() (code int, ok bool) { return 0, false }
