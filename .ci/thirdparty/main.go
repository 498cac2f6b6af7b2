// Command thirdparty writes the .proto files of others that our contract imports into proto/third_party.
//
// The files are printed from the descriptors compiled into the Go packages that the generated code imports,
// so the contract is checked against exactly the definitions the program runs with, and neither buf nor a
// contributor needs to reach a schema registry. Descriptors carry no comments; read the published originals
// for those.
//
// Run it by hand from the top of the repository after changing the version of one of these packages:
//
//	make thirdparty
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/jhump/protoreflect/v2/protoprint"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/reflect/protoreflect"
)

const target = "proto/third_party"

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "thirdparty:", err)
		os.Exit(1)
	}
}

func run() error {
	if _, err := os.Stat(target); err != nil {
		return fmt.Errorf("run this from the top of the repository: %w", err)
	}
	printer := protoprint.Printer{}
	for _, file := range []protoreflect.FileDescriptor{
		validate.File_buf_validate_validate_proto,
		annotations.File_google_api_field_behavior_proto,
		annotations.File_google_api_resource_proto,
	} {
		text, err := printer.PrintProtoToString(file)
		if err != nil {
			return fmt.Errorf("print %s: %w", file.Path(), err)
		}
		header := "// Printed from the descriptors in the Go package that implements this file; see .ci/thirdparty.\n" +
			"// Do not edit.\n\n"
		path := filepath.Join(target, filepath.FromSlash(file.Path()))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(path, []byte(header+text), 0o644); err != nil {
			return err
		}
		fmt.Println("wrote", path)
	}
	return nil
}
