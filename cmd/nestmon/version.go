package main

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
)

var versionCommand = command{"version", "which nestmon this is", runVersion}

func runVersion(_ context.Context, args []string, std stdio) int {
	fs := flags("version", "version", std)
	if code, ok := parse(fs, args); !ok {
		return code
	}
	fmt.Fprintf(std.out, "nestmon %s, for %s on %s, built with %s\n", version(), runtime.GOOS, processor(), runtime.Version())
	return exitDone
}

// version is the program's version as its build recorded it: the tag that was built, or what stood after it.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "unversioned"
	}
	return info.Main.Version
}

// processor is what the program was built for; the oldest boards need another build than the next ones.
func processor() string {
	info, _ := debug.ReadBuildInfo()
	if info != nil {
		for _, s := range info.Settings {
			if s.Key == "GOARM" {
				return runtime.GOARCH + " version " + s.Value
			}
		}
	}
	return runtime.GOARCH
}
