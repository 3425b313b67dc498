// Package testdata carries the workspaces that farthing init can start from:
// a blank one, the invented demo, and one for US open data. It holds no test
// figures and no generator.
package testdata

import "embed"

// Files has a folder for each: blank, demo, us.
//
//go:embed blank us demo/farthing.toml demo/tables demo/inbox
var Files embed.FS
