// Package rpc serves the contract of proto/stillroom/v1 over gRPC.
//
// A handler decodes names and fields into the domain's types, opens a transaction
// of the caller's kitchen, calls the domain and the store, and encodes the
// result. Validation, recovery, logging and the translation of faults to gRPC
// statuses are interceptors (interceptors.go, errors.go), so that no handler does
// them.
package rpc
