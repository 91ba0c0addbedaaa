// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"slices"
	"strconv"
	"strings"

	"tallyhood/store"
)

// What the file's buckets hold. Numbers in keys and values are 8 bytes, most
// significant first, so that the order of the bytes is that of the numbers.
//
//	bucket         key                     value
//	meta           "format"                "tallyhood.store/1"
//	meta           "head"                  a head as JSON
//	entries        number                  form of the entry, "hash ", 64 hexadecimal digits, line feed
//	index          first, number           place in the stream from 1, check
//	streams        "=" and the name        first, last, count, place among the streams from 1, check
//	"table " name  key                     check of 32 bytes, value
//
// First is the number of a stream's first entry, and stands for the stream in
// the index. The index and the streams say the same in two places, so that one
// page put back from an earlier time contradicts the other.
const (
	metaBucket    = "meta"
	entriesBucket = "entries"
	indexBucket   = "index"
	streamsBucket = "streams"
	tablePrefix   = "table "

	formatKey = "format"
	headKey   = "head"

	formatWord    = "tallyhood.store"
	formatVersion = 1
)

func format() string { return formatWord + "/" + strconv.Itoa(formatVersion) }

// checkFormat refuses a file of another or a later form.
func checkFormat(value []byte) error {
	if string(value) == format() {
		return nil
	}
	word, version, _ := strings.Cut(string(value), "/")
	if v, err := strconv.ParseUint(version, 10, 31); word == formatWord && err == nil && v > formatVersion {
		return fmt.Errorf("%w: its form is %s, this program knows forms up to %s", store.ErrNewer, value, format())
	}
	return damaged("its form is %q, not %s", value[:min(len(value), 64)], format())
}

// A head says how the file stands after a transaction. It is written by each,
// and since bbolt's own head, which has a checksum, names the same
// transaction, the parts of a file cannot be of different times unnoticed.
type head struct {
	Tx      uint64   `json:"tx"`      // bbolt's number of the transaction
	Number  uint64   `json:"number"`  // of the last entry; 0: none
	Hash    string   `json:"hash"`    // of the last entry, 64 hexadecimal digits
	Streams uint64   `json:"streams"` // how many there are
	Buckets []string `json:"buckets"` // all of them, in byte order

	hash [32]byte // Hash, decoded
}

func (h head) encode() []byte {
	b, err := json.Marshal(h)
	if err != nil {
		panic(err) // numbers and strings always marshal
	}
	return b
}

func decodeHead(value []byte) (head, error) {
	var h head
	if err := json.Unmarshal(value, &h); err != nil {
		return h, damaged("head: %w", err)
	}
	if !bytes.Equal(h.encode(), value) {
		return h, damaged("head: not as it was written")
	}
	hash, err := hex.DecodeString(h.Hash)
	if err != nil || len(hash) != len(h.hash) {
		return h, damaged("head: no hash")
	}
	h.hash = [32]byte(hash)
	return h, nil
}

func numberKey(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// hashLine is what follows the form of an entry.
const hashLine = len("hash ") + 2*sha256.Size + len("\n")

// encodeEntry returns the record of an entry and sets its hash.
func encodeEntry(e *store.Entry) []byte {
	b := store.AppendForm(make([]byte, 0, 300+len(e.Stream)+len(e.Kind)+len(e.Body)), *e)
	e.Hash = sha256.Sum256(b) // store.HashOf, without making the form twice
	b = append(b, "hash "...)
	b = hex.AppendEncode(b, e.Hash[:])
	return append(b, '\n')
}

// decodeEntry reads entry n and proves that it has the hash it was written with.
func decodeEntry(n uint64, value []byte) (store.Entry, error) {
	form := value[:max(len(value)-hashLine, 0)]
	e, err := store.ParseForm(form)
	if err != nil {
		return e, damaged("entry %d: %w", n, err)
	}
	line := "hash " + hex.EncodeToString(e.Hash[:]) + "\n"
	if string(value[len(form):]) != line {
		return e, damaged("entry %d does not have the hash it was written with", n)
	}
	if e.Number != n {
		return e, damaged("entry %d calls itself %d", n, e.Number)
	}
	return e, nil
}

// sum is the check of index and stream records: CRC-32C over the name of the
// bucket and the record.
func sum(bucket string, key, value []byte) uint32 {
	c := crc32.Update(0, castagnoli, []byte(bucket))
	c = crc32.Update(c, castagnoli, key)
	return crc32.Update(c, castagnoli, value)
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

var (
	errCheck = errors.New("the record does not match its check")
	errSize  = errors.New("the record has a wrong size")
)

// checkRecord returns a check for a bucket whose keys have keySize bytes (0:
// any) and whose values have valueSize bytes before their sum.
func checkRecord(bucket string, keySize, valueSize int) func(key, value []byte) error {
	return func(key, value []byte) error {
		if keySize > 0 && len(key) != keySize || len(value) != valueSize+crc32.Size {
			return errSize
		}
		if sum(bucket, key, value[:valueSize]) != binary.BigEndian.Uint32(value[valueSize:]) {
			return errCheck
		}
		return nil
	}
}

var (
	checkIndex  = checkRecord(indexBucket, 16, 8)
	checkStream = checkRecord(streamsBucket, 0, 32)
)

func indexKey(first, number uint64) []byte {
	return binary.BigEndian.AppendUint64(numberKey(first), number)
}

func decodeIndexKey(key []byte) (first, number uint64) {
	return binary.BigEndian.Uint64(key), binary.BigEndian.Uint64(key[8:])
}

// encodeIndex returns the index record of an entry.
func encodeIndex(first, number, place uint64) (key, value []byte) {
	b := make([]byte, 0, 28) // there are as many as entries: one allocation
	b = binary.BigEndian.AppendUint64(b, first)
	b = binary.BigEndian.AppendUint64(b, number)
	b = binary.BigEndian.AppendUint64(b, place)
	b = binary.BigEndian.AppendUint32(b, sum(indexBucket, b[:16], b[16:]))
	return b[:16], b[16:]
}

// A streamRecord is what the streams bucket holds of a stream.
type streamRecord struct {
	first, last, count uint64
	place              uint64 // among the streams, by first entry, from 1
}

// streamKey has a byte before the name, for bbolt keeps no empty key.
func streamKey(name string) []byte { return append([]byte{'='}, name...) }

func (r streamRecord) encode(key []byte) []byte {
	value := numberKey(r.first)
	for _, n := range []uint64{r.last, r.count, r.place} {
		value = binary.BigEndian.AppendUint64(value, n)
	}
	return binary.BigEndian.AppendUint32(value, sum(streamsBucket, key, value))
}

func decodeStream(value []byte) streamRecord {
	n := func(i int) uint64 { return binary.BigEndian.Uint64(value[8*i:]) }
	return streamRecord{first: n(0), last: n(1), count: n(2), place: n(3)}
}

// tableSum is the check of a table's pair: SHA-256 over the table's name, the
// key and the value, each but the last with its length before it.
func tableSum(table string, key, value []byte) [32]byte {
	b := binary.BigEndian.AppendUint64(nil, uint64(len(table)))
	b = append(b, table...)
	b = binary.BigEndian.AppendUint64(b, uint64(len(key)))
	b = append(b, key...)
	return sha256.Sum256(append(b, value...))
}

func encodePair(table string, key, value []byte) []byte {
	check := tableSum(table, key, value)
	return slices.Concat(check[:], value)
}

// checkPair returns the check of a table's pairs.
func checkPair(table string) func(key, value []byte) error {
	return func(key, value []byte) error {
		if len(value) < sha256.Size {
			return errSize
		}
		check := tableSum(table, key, value[sha256.Size:])
		if !bytes.Equal(check[:], value[:sha256.Size]) {
			return errCheck
		}
		return nil
	}
}

// pairValue is the value in a pair that has passed its check.
func pairValue(kept []byte) []byte { return kept[sha256.Size:] }
