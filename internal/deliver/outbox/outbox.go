// Package outbox writes notices as files into a folder, from which another program or a person takes them.
//
// Each message is a text file, with its pictures and its content as JSON beside it. The text comes last and whole: who watches
// for *.txt finds the rest there. A repeat replaces the files of the same name.
package outbox

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"afterbeam/internal/followup/notice"
)

// Folder is the outbox. It is made when missing.
type Folder struct{ Dir string }

// Send writes a message. File names are made of its id alone.
func (f Folder) Send(_ context.Context, m notice.Message) error {
	if err := os.MkdirAll(f.Dir, 0o700); err != nil {
		return bare("make folder", err)
	}
	for i, p := range m.Pictures {
		if err := f.write(fmt.Sprintf("%s-%d.png", m.ID, i+1), p.PNG); err != nil {
			return err
		}
	}
	if err := f.write(m.ID+".json", m.Data); err != nil {
		return err
	}
	text := fmt.Sprintf("Subject: %s\nFor account: %s\nMessage: %s\n\n%s", m.Subject, m.Account, m.ID, m.Text)
	if err := f.write(m.ID+".txt", []byte(text)); err != nil {
		return err
	}
	return syncFolder(f.Dir)
}

// write puts a whole file under its name, or nothing.
func (f Folder) write(name string, content []byte) (err error) {
	file, err := os.CreateTemp(f.Dir, ".part-*")
	if err != nil {
		return bare("make file", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(file.Name()))
		}
	}()
	if _, err = file.Write(content); err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return bare("write file", err)
	}
	if err = os.Rename(file.Name(), filepath.Join(f.Dir, name)); err != nil {
		return bare("name file", err)
	}
	return nil
}

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return bare("open folder", err)
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return bare("sync folder", err)
	}
	return nil
}

// bare leaves the folder's name out of what is kept and sent to others.
func bare(doing string, err error) error {
	var path *os.PathError
	if errors.As(err, &path) {
		err = path.Err
	}
	var link *os.LinkError
	if errors.As(err, &link) {
		err = link.Err
	}
	return fmt.Errorf("outbox: %s: %w", doing, err)
}
