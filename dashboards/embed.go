// Package dashboards holds what people look at: the page's files, embedded in the program, and the rules for a Prometheus server.
//
// The page under page/ is plain HTML, CSS and ES modules; nothing builds it. page/vendor holds the one thing we did not write, uPlot 1.6.32
// (MIT, text beside it), as its npm package ships it. page/texts.js holds every text, so that another language is one file.
package dashboards

import (
	"embed"
	"io/fs"
)

//go:embed page
var files embed.FS

// Page returns the page's files with index.html at the root.
func Page() fs.FS {
	sub, err := fs.Sub(files, "page")
	if err != nil {
		panic(err) // the name is a valid path
	}
	return sub
}
