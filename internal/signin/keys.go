package signin

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
)

// keysFile holds the keys of the cookies, each as a line of hex digits: one of
// 64 bytes to sign them, one of 32 to hide what they hold. Without it everybody
// signs in again.
const keysFile = "cookie.keys"

type keys struct{ sign, hide []byte }

// readKeys reads the keys, or makes them.
func readKeys(folder string) (keys, error) {
	path := filepath.Join(folder, keysFile)
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		if err := makeKeys(path); err != nil {
			return keys{}, fmt.Errorf("make the keys of the cookies: %w", err)
		}
		text, err = os.ReadFile(path)
	}
	if err != nil {
		return keys{}, fmt.Errorf("keys of the cookies: %w", err)
	}
	info, err := os.Stat(path)
	if err != nil {
		return keys{}, fmt.Errorf("keys of the cookies: %w", err)
	}
	// Windows keeps rights elsewhere and reports none of them here.
	if open := info.Mode().Perm() & 0o077; open != 0 && runtime.GOOS != "windows" {
		return keys{}, fmt.Errorf("%s can be read by others (%v): whoever has read it can sign in as anybody; delete it, then a new one is made and everybody signs in again", path, info.Mode().Perm())
	}
	lines := strings.Fields(string(text))
	if len(lines) == 2 {
		sign, err1 := hex.DecodeString(lines[0])
		hide, err2 := hex.DecodeString(lines[1])
		if err1 == nil && err2 == nil && len(sign) == 64 && len(hide) == 32 {
			return keys{sign, hide}, nil
		}
	}
	return keys{}, fmt.Errorf("%s does not hold two keys; delete it, then a new one is made and everybody signs in again", path)
}

// makeKeys writes new keys, whole or not at all.
func makeKeys(path string) error {
	b := make([]byte, 64+32)
	rand.Read(b)
	f, err := os.CreateTemp(filepath.Dir(path), keysFile+".*") // 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // nothing, once it is renamed
	_, err = fmt.Fprintf(f, "%x\n%x\n", b[:64], b[64:])
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
