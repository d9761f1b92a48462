package web

// What one request may send.
const (
	MostForm = mostForm
	MostFile = mostFile
)
