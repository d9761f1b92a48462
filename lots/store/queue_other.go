//go:build !unix || solaris || aix

package store

import "os"

// Where programs cannot wait in a queue, SQLite has them try again.
func tryLock(*os.File) bool { return true }

func lock(*os.File) {}

func unlock(*os.File) {}
