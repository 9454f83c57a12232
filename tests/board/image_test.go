package board_test

import (
	"bufio"
	"debug/elf"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"nestmon/tests/board/line"
)

// bundle is the files a guest starts with, by path.
type bundle map[string][]byte

// pack writes the bundle as the kernel takes it: a cpio archive of the kind newc (kernel documentation
// driver-api/early-userspace/buffer-format). Every file can be executed; folders come before what they hold. It is not compressed: an
// emulated processor takes longer to unpack it than the rest of its start.
func (b bundle) pack(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "initrd")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	out := bufio.NewWriter(f)
	for _, folder := range b.folders() {
		entry(out, folder, 0o041777, nil)
	}
	for name, text := range b {
		entry(out, name, 0o100755, text)
	}
	entry(out, "TRAILER!!!", 0, nil)
	for _, err := range []error{out.Flush(), f.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
	return path
}

func (b bundle) folders() []string {
	all := []string{"tmp"}
	for name := range b {
		for dir := filepath.Dir(name); dir != "."; dir = filepath.Dir(dir) {
			all = append(all, dir)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func entry(w io.Writer, name string, mode uint32, text []byte) {
	pad := func(n int) string { return strings.Repeat("\x00", (4-n%4)%4) }
	head := fmt.Sprintf("070701%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%s\x00", 0, mode, 0, 0, 1, 0, len(text), 0, 0, 0, 0, len(name)+1, 0, name)
	fmt.Fprint(w, head, pad(len(head)), string(text), pad(len(text)))
}

// addModules adds kernel modules and, before each, what it depends on. An entry of wanted is a module's name and its arguments.
func (b bundle) addModules(t *testing.T, tree string, wanted ...string) {
	t.Helper()
	files := make(map[string]string)
	err := filepath.WalkDir(tree, func(path string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".ko") {
			files[moduleName(strings.TrimSuffix(filepath.Base(path), ".ko"))] = path
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	var order []string
	var add func(entry string)
	add = func(entry string) {
		name, _, _ := strings.Cut(entry, " ")
		name = moduleName(name)
		if name == "" || b[line.ModulesFolder+"/"+name] != nil {
			return
		}
		path, found := files[name]
		if !found {
			t.Fatalf("the kernel's package holds no module %s below %s", name, tree)
		}
		for _, needed := range depends(t, path) {
			add(needed)
		}
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		b[line.ModulesFolder+"/"+name] = text
		_, args, _ := strings.Cut(entry, " ")
		order = append(order, name+" "+args)
	}
	for _, entry := range wanted {
		add(entry)
	}
	b[line.ModulesFile] = []byte(strings.Join(order, "\n"))
}

// moduleName is a module's name as the kernel compares it.
func moduleName(name string) string { return strings.ReplaceAll(name, "-", "_") }

// depends reads what a module says it needs.
func depends(t *testing.T, path string) []string {
	t.Helper()
	f, err := elf.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, err := f.Section(".modinfo").Data()
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	for _, word := range strings.Split(string(info), "\x00") {
		if list, found := strings.CutPrefix(word, "depends="); found {
			return strings.Split(list, ",")
		}
	}
	return nil
}
