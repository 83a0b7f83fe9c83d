package store

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"sync"

	"golang.org/x/crypto/argon2"
)

// The cost of a passphrase's hash: the OWASP Password Storage Cheat Sheet's
// "m=19456 (19 MiB), t=2, p=1" for Argon2id (RFC 9106).
const (
	argonMemoryKiB = 19 * 1024
	argonPasses    = 2
	argonLanes     = 1
	argonSalt      = 16
	argonKey       = 32
)

// oneHash lets one passphrase be tried at a time, so that guessers wait for each
// other instead of taking the station's memory.
var oneHash sync.Mutex

// hashPassphrase is the hash in the form "$argon2id$v=19$m=,t=,p=$salt$hash" of
// the PHC string format.
func hashPassphrase(text string) (string, error) {
	salt := make([]byte, argonSalt)
	if _, err := rand.Read(salt); err != nil {
		return "", fmt.Errorf("drawing a salt: %w", err)
	}
	oneHash.Lock()
	defer oneHash.Unlock()
	key := argon2.IDKey([]byte(text), salt, argonPasses, argonMemoryKiB, argonLanes, argonKey)
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, argonMemoryKiB, argonPasses, argonLanes, b64.EncodeToString(salt), b64.EncodeToString(key)), nil
}

// samePassphrase compares in constant time. The error says that the hash itself
// cannot be read.
func samePassphrase(hash, text string) (bool, error) {
	broken := func() (bool, error) {
		return false, fmt.Errorf("store: the passphrase's hash is broken; set it afresh with \"cruet phones passphrase\"")
	}
	parts := strings.Split(hash, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" {
		return broken()
	}
	var version, memory, passes int
	var lanes uint8
	if _, err := fmt.Sscanf(parts[2], "v=%d", &version); err != nil || version != argon2.Version {
		return broken()
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &memory, &passes, &lanes); err != nil || memory < 8 || memory > 1<<20 || passes < 1 || passes > 100 || lanes < 1 {
		return broken()
	}
	salt, err := base64.RawStdEncoding.DecodeString(parts[4])
	if err != nil {
		return broken()
	}
	key, err := base64.RawStdEncoding.DecodeString(parts[5])
	if err != nil || len(key) < 16 {
		return broken()
	}
	oneHash.Lock()
	defer oneHash.Unlock()
	got := argon2.IDKey([]byte(text), salt, uint32(passes), uint32(memory), lanes, uint32(len(key)))
	return subtle.ConstantTimeCompare(got, key) == 1, nil
}
