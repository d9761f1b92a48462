//go:build !unix

package main

import "os"

// mostMemory is not known here.
func mostMemory(*os.ProcessState) int64 { return 0 }
