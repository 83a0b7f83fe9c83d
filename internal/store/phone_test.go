package store

import (
	"context"
	"encoding/base64"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/argon2"

	"cruet/internal/larder"
)

func code(t *testing.T, db *DB, by string) string {
	t.Helper()
	made, err := db.IssueCode(ctx, by, larder.PairingCodeLife)
	if err != nil {
		t.Fatal(err)
	}
	return made.Code
}

func paired(t *testing.T, db *DB, name string) Paired {
	t.Helper()
	made, err := db.Pair(ctx, act(), larder.NewPhone{Code: code(t, db, "test"), Name: name})
	if err != nil {
		t.Fatal(err)
	}
	return made
}

func visitor(t *testing.T, db *DB, token string) larder.Visitor {
	t.Helper()
	v, err := db.Visitor(ctx, token)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestPairing(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	db := openIn(t, dir, Options{Now: c.Now})
	if v := visitor(t, db, ""); v.Phone != nil || v.Access != larder.DefaultAccess {
		t.Fatalf("a fresh kitchen lets in %+v", v)
	}
	ro := paired(t, db, "ro")
	if v := visitor(t, db, ro.Token); v.Phone == nil || v.Phone.Name != "ro" || v.Phone.Program || v.MayWrite(c.now) != nil {
		t.Errorf("the paired phone is %+v", v)
	}
	for _, wrong := range []string{"", ro.Token[1:], ro.Token + "x", strings.ToLower(ro.Token), "' OR 1=1 --"} {
		if v := visitor(t, db, wrong); v.Phone != nil {
			t.Errorf("%q is let in as %+v", wrong, v.Phone)
		}
	}
	if raw, err := base64.RawURLEncoding.DecodeString(ro.Token); err != nil || len(raw) != 32 {
		t.Errorf("the token has %d bytes, %v", len(raw), err)
	}
	// A restart, here a second opening, keeps who is paired.
	if v := visitor(t, openIn(t, dir, Options{Now: c.Now}), ro.Token); v.Phone == nil {
		t.Error("the phone is not known after a restart")
	}
	if err := db.RemovePhone(ctx, ro.ID); err != nil {
		t.Fatal(err)
	}
	if err := db.RemovePhone(ctx, ro.ID); err != nil {
		t.Errorf("removing twice: %v", err)
	}
	if v := visitor(t, db, ro.Token); v.Phone != nil {
		t.Error("a removed phone is let in")
	}
	refused(t, db.RemovePhone(ctx, 99), "phone", "no phone number 99")
	sound(t, db)
}

func TestCodesPairOnceAndOnlyForAWhile(t *testing.T) {
	db, c := kitchen(t)
	first := code(t, db, "a")
	n := larder.NewPhone{Code: first, Name: "ro"}
	a := act()
	made, err := db.Pair(ctx, a, n)
	if err != nil {
		t.Fatal(err)
	}
	// The answer was lost: the same act pairs the same phone, once.
	again, err := db.Pair(ctx, a, n)
	if err != nil || again.ID != made.ID || again.Token == made.Token {
		t.Errorf("sent again: %+v, %v, before %+v", again, err, made)
	}
	if visitor(t, db, made.Token).Phone != nil || visitor(t, db, again.Token).Phone == nil {
		t.Error("the token that was given last must be the one that holds")
	}
	_, err = db.Pair(ctx, act(), n)
	refused(t, err, "code", "paired a phone already")
	if all, _ := db.Phones(ctx); len(all) != 1 {
		t.Errorf("%d phones", len(all))
	}

	replaced, kept := code(t, db, "b"), code(t, db, "c")
	code(t, db, "b")
	_, err = db.Pair(ctx, act(), larder.NewPhone{Code: replaced, Name: "mk"})
	refused(t, err, "code", "not known")
	c.pass(larder.PairingCodeLife)
	_, err = db.Pair(ctx, act(), larder.NewPhone{Code: kept, Name: "mk"})
	refused(t, err, "code", "not known")
	_, err = db.Pair(ctx, a, n)
	refused(t, err, "code", "not known")
	_, err = db.Pair(ctx, act(), larder.NewPhone{Code: "00000000", Name: "mk"})
	refused(t, err, "code", "not known")
	_, err = db.Pair(ctx, act(), larder.NewPhone{Code: "0000000"})
	refused(t, err, "code", "8 characters")
	if err := db.RemovePhone(ctx, made.ID); err != nil {
		t.Fatal(err)
	}
}

// Neither tokens nor codes nor the passphrase can be read out of the file.
func TestNoSecretLiesInTheFile(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir, Options{Now: newClock().Now})
	ro, open := paired(t, db, "ro"), code(t, db, "x")
	program, err := db.AddProgram(ctx, "scale")
	if err != nil {
		t.Fatal(err)
	}
	const passphrase = "damsons at midnight"
	if err := db.SetPassphrase(ctx, passphrase); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if file == filepath.Join(dir, FileName+"-wal") && !strings.Contains(string(data), "scale") {
			t.Error("the file was not written to at all")
		}
		for what, secret := range map[string]string{"the token": ro.Token, "the program's token": program.Token, "the code": open, "the passphrase": passphrase} {
			if strings.Contains(string(data), secret) {
				t.Errorf("%s lies in %s", what, filepath.Base(file))
			}
		}
	}
}

func TestPrograms(t *testing.T) {
	db, _ := kitchen(t)
	made, err := db.AddProgram(ctx, "scale")
	if err != nil {
		t.Fatal(err)
	}
	if v := visitor(t, db, made.Token); v.Phone == nil || !v.Phone.Program {
		t.Errorf("the program is %+v", v.Phone)
	}
	_, err = db.AddProgram(ctx, "SCALE")
	refused(t, err, "name", "already")
	_, err = db.AddProgram(ctx, "")
	refused(t, err, "name", "missing")
	if err := db.RemovePhone(ctx, made.ID); err != nil {
		t.Fatal(err)
	}
	if _, err = db.AddProgram(ctx, "scale"); err != nil {
		t.Errorf("after it was removed: %v", err)
	}
}

func TestPassphrase(t *testing.T) {
	db, c := kitchen(t)
	ro := paired(t, db, "ro")
	refused(t, db.SetPassphrase(ctx, "short"), "passphrase", "at least 8")
	if err := db.SetPassphrase(ctx, "damsons at midnight"); err != nil {
		t.Fatal(err)
	}
	// Who has no code does not get to try the passphrase.
	for _, guess := range []string{"damsons at midnight", "pears at midnight", ""} {
		_, err := db.Pair(ctx, act(), larder.NewPhone{Code: "00000000", Name: "mk", Passphrase: guess})
		refused(t, err, "code", "not known")
	}
	n := larder.NewPhone{Code: code(t, db, "x"), Name: "mk"}
	_, err := db.Pair(ctx, act(), n)
	refused(t, err, "passphrase", "missing")
	n.Passphrase = "Damsons at midnight"
	_, err = db.Pair(ctx, act(), n)
	refused(t, err, "passphrase", "not the kitchen's")
	n.Passphrase = "damsons at midnight"
	if _, err = db.Pair(ctx, act(), n); err != nil {
		t.Error(err)
	}

	v := visitor(t, db, ro.Token)
	if err := v.MayWrite(c.now); err != nil {
		t.Errorf("a phone just paired: %v", err)
	}
	c.pass(31 * 24 * time.Hour)
	v = visitor(t, db, ro.Token)
	var access *larder.AccessError
	if err := v.MayWrite(c.now); !errors.As(err, &access) || access.Need != larder.NeedPassphrase {
		t.Errorf("after a month: %v", err)
	}
	if err := db.Seen(ctx, v, false); err != nil { // looking does not unlock
		t.Fatal(err)
	}
	if v = visitor(t, db, ro.Token); v.MayWrite(c.now) == nil || !v.Phone.SeenAt.Equal(c.now) {
		t.Errorf("after a look: %+v", v)
	}
	refused(t, db.Unlock(ctx, v, "damsons"), "passphrase", "not the kitchen's")
	if err := db.Unlock(ctx, v, "damsons at midnight"); err != nil {
		t.Error(err)
	}
	if err := visitor(t, db, ro.Token).MayWrite(c.now); err != nil {
		t.Errorf("unlocked: %v", err)
	}
	if err := db.SetPassphrase(ctx, ""); err != nil || visitor(t, db, "").Access.Passphrase {
		t.Errorf("taken away: %v", err)
	}
}

// The hash is what another program's Argon2id would make of it, in the PHC
// string format, with the OWASP Password Storage Cheat Sheet's cost.
func TestPassphraseHash(t *testing.T) {
	hash, err := hashPassphrase("damsons at midnight")
	if err != nil || !strings.HasPrefix(hash, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Fatalf("%s, %v", hash, err)
	}
	parts := strings.Split(hash, "$")
	salt, err := base64.RawStdEncoding.DecodeString(parts[4])
	if err != nil || len(salt) != 16 {
		t.Fatalf("the salt has %d bytes, %v", len(salt), err)
	}
	if want := base64.RawStdEncoding.EncodeToString(argon2.IDKey([]byte("damsons at midnight"), salt, 2, 19456, 1, 32)); parts[5] != want {
		t.Errorf("the hash is %s, want %s", parts[5], want)
	}
	other, _ := hashPassphrase("damsons at midnight")
	if other == hash {
		t.Error("two hashes of the same passphrase are the same")
	}
	for _, broken := range []string{"", "$argon2id$v=19$m=19456,t=2,p=1$YQ", strings.Replace(hash, "argon2id", "argon2i", 1), strings.Replace(hash, "v=19", "v=16", 1), strings.Replace(hash, "m=19456", "m=99999999", 1), strings.Replace(hash, "t=2", "t=0", 1), hash[:len(hash)-30]} {
		if same, err := samePassphrase(broken, "damsons at midnight"); same || err == nil {
			t.Errorf("%q is taken for a hash: %v, %v", broken, same, err)
		}
	}
}

func TestSeenSeldomWrites(t *testing.T) {
	db, c := kitchen(t)
	ro := paired(t, db, "ro")
	paired := c.now
	c.pass(30 * time.Minute)
	if err := db.Seen(ctx, visitor(t, db, ro.Token), true); err != nil {
		t.Fatal(err)
	}
	if v := visitor(t, db, ro.Token); !v.Phone.SeenAt.Equal(paired) || !v.WroteAt.Equal(paired) {
		t.Errorf("within the hour it was kept: %+v", v)
	}
	c.pass(time.Hour)
	if err := db.Seen(ctx, visitor(t, db, ro.Token), true); err != nil {
		t.Fatal(err)
	}
	if v := visitor(t, db, ro.Token); !v.Phone.SeenAt.Equal(c.now) || !v.WroteAt.Equal(c.now) {
		t.Errorf("after it, it was not: %+v", v)
	}
	if err := db.Seen(ctx, larder.Visitor{}, true); err != nil {
		t.Errorf("a stranger: %v", err)
	}
}

func TestAccessRules(t *testing.T) {
	db, _ := kitchen(t)
	if err := db.SetPassphrase(ctx, "damsons at midnight"); err != nil {
		t.Fatal(err)
	}
	want := larder.Access{Writers: larder.WritersEveryone, Look: larder.LookAll, IdleDays: 7}
	if err := db.SetAccess(ctx, want); err != nil {
		t.Fatal(err)
	}
	want.Passphrase = true
	if got, err := db.Access(ctx); err != nil || got != want {
		t.Errorf("%+v, %v", got, err)
	}
	want.Passphrase = false // is not this method's to change
	if err := db.SetAccess(ctx, want); err != nil {
		t.Fatal(err)
	}
	if got, err := db.Access(ctx); err != nil || !got.Passphrase {
		t.Errorf("%+v, %v", got, err)
	}
	refused(t, db.SetAccess(ctx, larder.Access{Writers: "x", Look: larder.LookAll}), "writers", "paired or everyone")
	if db.SetAccess(canceled(), want) == nil {
		t.Error("a cancelled change is answered as saved")
	}
}

func canceled() context.Context {
	c, cancel := context.WithCancel(context.Background())
	cancel()
	return c
}
