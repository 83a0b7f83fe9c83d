//go:build cgo

package store_test

import _ "github.com/mattn/go-sqlite3" // SQLite itself, to compare with

const cDriver = "sqlite3"
