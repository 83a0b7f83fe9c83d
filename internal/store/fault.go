package store

import (
	"errors"
	"io/fs"
	"syscall"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"cruet/internal/larder"
)

// StationFault makes a fault of the station's computer that somebody can mend a
// larder.StationError; any other error stays what it is.
func StationFault(err error) error {
	var known *larder.StationError
	if err == nil || errors.As(err, &known) {
		return err
	}
	if fault := faultOf(err); fault != "" {
		return &larder.StationError{Fault: fault, Err: err}
	}
	return err
}

func faultOf(err error) larder.Fault {
	var failed *sqlite.Error
	if errors.As(err, &failed) {
		switch failed.Code() & 0xff { // the rest says which call it was
		case sqlite3.SQLITE_FULL:
			return larder.DiskFull
		case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
			return larder.ReadOnly
		case sqlite3.SQLITE_IOERR:
			return larder.DiskFails
		case sqlite3.SQLITE_BUSY:
			return larder.Busy
		}
		return ""
	}
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return larder.DiskFull
	case errors.Is(err, syscall.EROFS), errors.Is(err, fs.ErrPermission):
		return larder.ReadOnly
	case errors.Is(err, syscall.EIO), errors.Is(err, syscall.EFBIG):
		return larder.DiskFails
	}
	return ""
}
