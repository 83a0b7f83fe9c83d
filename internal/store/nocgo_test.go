//go:build !cgo

package store_test

const cDriver = "" // there is no SQLite in C to compare with
