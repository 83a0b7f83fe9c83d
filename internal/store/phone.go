package store

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"database/sql"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"cruet/internal/larder"
)

// tokenBytes of crypto/rand make a phone's token.
const tokenBytes = 32

// seenStep is how exactly it is kept when a phone was last here, so that looking
// at pages seldom writes.
const seenStep = time.Hour

// Paired is a phone just paired, with the token that it shows from now on. The
// records keep only the token's hash.
type Paired struct {
	larder.Phone
	Token string `json:"token"`
}

// Visitor finds who shows a token, and the rules of access. An empty or unknown
// token is somebody who is not paired.
func (db *DB) Visitor(ctx context.Context, token string) (larder.Visitor, error) {
	v := larder.Visitor{Access: larder.DefaultAccess}
	hash := sha256.Sum256([]byte(token))
	var rules, name sql.NullString
	var id, paired, seen, wrote sql.NullInt64
	var program sql.NullBool
	var kept []byte
	err := db.read.QueryRowContext(ctx, `SELECT (SELECT value FROM setting WHERE name = 'access'), (SELECT count(*) FROM setting WHERE name = 'passphrase'),
		p.id, p.name, p.program, p.token, p.paired_ms, p.seen_ms, p.wrote_ms
		FROM (SELECT 1) LEFT JOIN phone p ON p.token = ? AND p.removed_ms IS NULL`, hash[:]).
		Scan(&rules, &v.Access.Passphrase, &id, &name, &program, &kept, &paired, &seen, &wrote)
	if err != nil {
		return v, fmt.Errorf("store: who asks: %w", err)
	}
	passphrase := v.Access.Passphrase
	if rules.Valid {
		if err := json.Unmarshal([]byte(rules.String), &v.Access); err != nil {
			return v, fmt.Errorf("store: the rules of access: %w", err)
		}
	}
	v.Access.Passphrase = passphrase
	if !id.Valid || subtle.ConstantTimeCompare(kept, hash[:]) != 1 {
		return v, nil
	}
	v.Phone = &larder.Phone{ID: id.Int64, Name: name.String, Program: program.Bool, PairedAt: time.UnixMilli(paired.Int64), SeenAt: time.UnixMilli(seen.Int64)}
	v.WroteAt = time.UnixMilli(wrote.Int64)
	return v, nil
}

// Seen keeps that a visitor's phone was here, and whether it came to write: once
// an hour at most.
func (db *DB) Seen(ctx context.Context, v larder.Visitor, wrote bool) error {
	now := db.now()
	if v.Phone == nil || now.Sub(v.Phone.SeenAt) < seenStep && (!wrote || now.Sub(v.WroteAt) < seenStep) {
		return nil
	}
	_, err := db.write.ExecContext(ctx, `UPDATE phone SET seen_ms = max(seen_ms, ?1), wrote_ms = iif(?2, max(wrote_ms, ?1), wrote_ms) WHERE id = ?3`, now.UnixMilli(), wrote, v.Phone.ID)
	if err != nil {
		return fmt.Errorf("store: the phone was seen: %w", err)
	}
	return nil
}

// Access gives the rules of who may look and write.
func (db *DB) Access(ctx context.Context) (larder.Access, error) {
	v, err := db.Visitor(ctx, "")
	return v.Access, err
}

// SetAccess keeps the rules. The passphrase is set by SetPassphrase.
func (db *DB) SetAccess(ctx context.Context, a larder.Access) error {
	if err := a.Check(); err != nil {
		return err
	}
	a.Passphrase = false // a row of its own
	text, err := json.Marshal(a)
	if err == nil {
		err = db.set(ctx, "access", string(text))
	}
	if err != nil {
		return fmt.Errorf("store: the rules of access: %w", err)
	}
	return nil
}

// SetPassphrase keeps a passphrase's hash; an empty text takes the passphrase away.
func (db *DB) SetPassphrase(ctx context.Context, text string) error {
	if text == "" {
		if _, err := db.write.ExecContext(ctx, `DELETE FROM setting WHERE name = 'passphrase'`); err != nil {
			return fmt.Errorf("store: the passphrase: %w", err)
		}
		return nil
	}
	if err := larder.CheckPassphrase(text); err != nil {
		return err
	}
	hash, err := hashPassphrase(text)
	if err == nil {
		err = db.set(ctx, "passphrase", hash)
	}
	if err != nil {
		return fmt.Errorf("store: the passphrase: %w", err)
	}
	return nil
}

func (db *DB) set(ctx context.Context, name, value string) error {
	_, err := db.write.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value`, name, value)
	return err
}

// checkPassphrase is nil when there is no passphrase, or text is it.
func (db *DB) checkPassphrase(ctx context.Context, text string) error {
	var hash string
	err := db.read.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = 'passphrase'`).Scan(&hash)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("store: the passphrase: %w", err)
	}
	if text == "" {
		return larder.Refuse("passphrase", "The kitchen's passphrase is missing.")
	}
	same, err := samePassphrase(hash, text)
	if err == nil && !same {
		err = larder.Refuse("passphrase", "That is not the kitchen's passphrase. Upper and lower case matter.")
	}
	return err
}

// Unlock lets a phone that wrote nothing for long write again.
func (db *DB) Unlock(ctx context.Context, v larder.Visitor, passphrase string) error {
	if v.Phone == nil {
		return &larder.AccessError{Need: larder.NeedPairing}
	}
	if err := db.checkPassphrase(ctx, passphrase); err != nil {
		return err
	}
	now := db.now().UnixMilli()
	if _, err := db.write.ExecContext(ctx, `UPDATE phone SET seen_ms = ?1, wrote_ms = ?1 WHERE id = ?2`, now, v.Phone.ID); err != nil {
		return fmt.Errorf("store: unlocking: %w", err)
	}
	return nil
}

// PairingCode is a code just made; the records keep only its hash.
type PairingCode struct {
	Code  string    `json:"code"`
	Until time.Time `json:"until"`
}

// IssueCode makes a code to pair one phone by. by is who shows it; codes that the
// same showed before and nobody used stop working.
func (db *DB) IssueCode(ctx context.Context, by string, life time.Duration) (PairingCode, error) {
	code, err := larder.NewPairingCode()
	if err != nil {
		return PairingCode{}, err
	}
	made := PairingCode{Code: code}
	err = db.inTx(ctx, larder.Act{By: by}, func(t *tx) error {
		made.Until = t.now.Add(life)
		if _, err := t.ExecContext(ctx, `DELETE FROM pairing WHERE until_ms <= ? OR by = ? AND key IS NULL`, t.now.UnixMilli(), by); err != nil {
			return err
		}
		hash := sha256.Sum256([]byte(code))
		_, err := t.ExecContext(ctx, `INSERT INTO pairing (code, by, until_ms) VALUES (?, ?, ?)`, hash[:], by, made.Until.UnixMilli())
		return err
	})
	if err != nil {
		return PairingCode{}, fmt.Errorf("store: a code to pair by: %w", err)
	}
	return made, nil
}

// Pair pairs a phone by a code, once. The same act sent again, as by a phone that
// never got the answer, pairs the same phone with a new token.
func (db *DB) Pair(ctx context.Context, a larder.Act, n larder.NewPhone) (Paired, error) {
	code, err := larder.ParsePairingCode(n.Code)
	if err := cmp.Or(a.Check(), n.Check(), err); err != nil {
		return Paired{}, err
	}
	// The code first: who has none must not get to try passphrases.
	if _, err := findCode(ctx, db.read, db.now(), code, a); err != nil {
		return Paired{}, wrap("pairing", err)
	}
	if err := db.checkPassphrase(ctx, n.Passphrase); err != nil {
		return Paired{}, err
	}
	var made Paired
	err = db.inTx(ctx, a, func(t *tx) error {
		found, err := findCode(ctx, t, t.now, code, a)
		if err != nil {
			return err
		}
		if found.phone.Valid {
			made, err = t.renewToken(ctx, found.phone.Int64)
			return err
		}
		if made, err = t.addPhone(ctx, n.Name, false); err != nil {
			return err
		}
		_, err = t.ExecContext(ctx, `UPDATE pairing SET key = ?, phone = ? WHERE code = ?`, a.Key[:], made.ID, found.hash)
		return err
	})
	return made, wrapPhone("pairing", err)
}

func wrapPhone(what string, err error) error {
	if err == nil {
		return nil
	}
	return wrap(what, err)
}

type pairing struct {
	hash, key []byte
	phone     sql.NullInt64
}

// findCode finds a code that still holds: unused, or used by this very act. All
// are compared, in constant time, so that no answer's delay tells of one.
func findCode(ctx context.Context, q querier, now time.Time, code string, a larder.Act) (pairing, error) {
	rows, err := q.QueryContext(ctx, `SELECT code, key, phone FROM pairing WHERE until_ms > ?`, now.UnixMilli())
	if err != nil {
		return pairing{}, err
	}
	all, err := collect(rows, func(r *sql.Rows) (p pairing, err error) { return p, r.Scan(&p.hash, &p.key, &p.phone) })
	if err != nil {
		return pairing{}, err
	}
	typed := sha256.Sum256([]byte(code))
	var found pairing
	for _, p := range all {
		if subtle.ConstantTimeCompare(p.hash, typed[:]) == 1 {
			found = p
		}
	}
	switch {
	case found.hash == nil:
		return found, larder.Refuse("code", "This code is not known, or its time is over. Compare it, or have a new one shown.")
	case found.key != nil && subtle.ConstantTimeCompare(found.key, a.Key[:]) != 1:
		return found, larder.Refuse("code", "This code has paired a phone already; each pairs only one. Have a new one shown.")
	}
	return found, nil
}

func (t *tx) addPhone(ctx context.Context, name string, program bool) (Paired, error) {
	token, hash, err := newToken()
	if err != nil {
		return Paired{}, err
	}
	now := t.now.UnixMilli()
	res, err := t.ExecContext(ctx, `INSERT INTO phone (name, program, token, paired_ms, seen_ms, wrote_ms) VALUES (?, ?, ?, ?, ?, ?)`, name, program, hash, now, now, now)
	if err != nil {
		return Paired{}, err
	}
	id, err := res.LastInsertId()
	return Paired{larder.Phone{ID: id, Name: name, Program: program, PairedAt: t.now, SeenAt: t.now}, token}, err
}

func (t *tx) renewToken(ctx context.Context, id int64) (Paired, error) {
	token, hash, err := newToken()
	if err != nil {
		return Paired{}, err
	}
	made := Paired{Token: token}
	var paired int64
	err = t.QueryRowContext(ctx, `UPDATE phone SET token = ? WHERE id = ? AND removed_ms IS NULL RETURNING id, name, paired_ms`, hash, id).Scan(&made.ID, &made.Name, &paired)
	if errors.Is(err, sql.ErrNoRows) {
		return made, larder.Refuse("code", "The phone that this code paired was removed. Have a new code shown.")
	}
	made.PairedAt, made.SeenAt = time.UnixMilli(paired), t.now
	return made, err
}

func newToken() (token string, hash []byte, err error) {
	var b [tokenBytes]byte
	if _, err := rand.Read(b[:]); err != nil {
		return "", nil, fmt.Errorf("drawing a token: %w", err)
	}
	token = base64.RawURLEncoding.EncodeToString(b[:])
	sum := sha256.Sum256([]byte(token))
	return token, sum[:], nil
}

// AddProgram lets a program write, by a token that is told this once. Its name
// is taken by no other that stands.
func (db *DB) AddProgram(ctx context.Context, name string) (Paired, error) {
	if err := larder.CheckPhoneName(name); err != nil {
		return Paired{}, err
	}
	var made Paired
	err := db.inTx(ctx, larder.Act{}, func(t *tx) error {
		var taken int
		if err := t.QueryRowContext(ctx, `SELECT count(*) FROM phone WHERE name = ? COLLATE NOCASE AND program AND removed_ms IS NULL`, name).Scan(&taken); err != nil {
			return err
		}
		if taken > 0 {
			return larder.Refuse("name", "There is a program "+name+" already. Remove it first, or choose another name.")
		}
		var err error
		made, err = t.addPhone(ctx, name, true)
		return err
	})
	return made, wrapPhone("a program's token", err)
}

// Phones lists the phones and programs that may write, the first paired first.
func (db *DB) Phones(ctx context.Context) ([]larder.Phone, error) {
	rows, err := db.read.QueryContext(ctx, `SELECT id, name, program, paired_ms, seen_ms FROM phone WHERE removed_ms IS NULL ORDER BY id`)
	if err != nil {
		return nil, fmt.Errorf("store: phones: %w", err)
	}
	return collect(rows, func(r *sql.Rows) (p larder.Phone, err error) {
		var paired, seen int64
		err = r.Scan(&p.ID, &p.Name, &p.Program, &paired, &seen)
		p.PairedAt, p.SeenAt = time.UnixMilli(paired), time.UnixMilli(seen)
		return p, err
	})
}

// RemovePhone takes from a phone or program the right to write. One that was
// removed before stays so.
func (db *DB) RemovePhone(ctx context.Context, id int64) error {
	res, err := db.write.ExecContext(ctx, `UPDATE phone SET removed_ms = coalesce(removed_ms, ?) WHERE id = ?`, db.now().UnixMilli(), id)
	if err != nil {
		return fmt.Errorf("store: removing a phone: %w", err)
	}
	if n, err := res.RowsAffected(); err != nil || n == 0 {
		return errors.Join(err, larder.Refuse("phone", fmt.Sprintf("There is no phone number %d.", id)))
	}
	return nil
}
