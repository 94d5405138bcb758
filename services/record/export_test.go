package record

// Waiting is the number of calls that lie in the queue.
func (r *Recorder) Waiting() int { return len(r.queue) }
