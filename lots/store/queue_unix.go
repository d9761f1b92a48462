//go:build unix && !solaris && !aix

package store

import (
	"os"
	"syscall"
)

func tryLock(f *os.File) bool {
	return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil
}

func lock(f *os.File) {
	for syscall.Flock(int(f.Fd()), syscall.LOCK_EX) == syscall.EINTR {
	}
}

func unlock(f *os.File) { _ = syscall.Flock(int(f.Fd()), syscall.LOCK_UN) }
