// Package wire is the protocol between bench and rig, as WIRE.md describes it:
// framing, messages, the delta coding of steps and answers, and the rig's side
// of a session. It does no input or output.
//
// It is shared by the bench and by bare-metal firmware: nothing here allocates,
// all buffers are fixed and belong to their user's values, and the imports are
// the controller and what links without a heap.
//
//	bytes -> Deframer -> frame -> Check -> body -> ParseX
//	x.Append -> body -> Seal -> stuffed bytes
//
// Host and rig each keep a Memory of what a step's differences refer to, and a
// Registers for those of an answer.
package wire
