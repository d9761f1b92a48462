//go:build unix

package main

import (
	"os"
	"runtime"
	"syscall"
)

// mostMemory is the most memory that a process held at a time, in bytes.
func mostMemory(p *os.ProcessState) int64 {
	used, ok := p.SysUsage().(*syscall.Rusage)
	if !ok {
		return 0
	}
	if runtime.GOOS == "darwin" { // counts bytes, and others kilobytes
		return int64(used.Maxrss)
	}
	return int64(used.Maxrss) << 10
}
