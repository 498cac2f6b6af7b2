package rpc

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"

	"golang.org/x/net/http2"
	"golang.org/x/net/http2/hpack"
	"google.golang.org/grpc/codes"
)

// attack is a way to speak badly on a connection.
type attack struct {
	name string
	// on speaks and tells how the server took it: the status of the call, or how the connection ended.
	on func(m *maker, conn *net.TCPConn) string
	// want is the status it must be answered with; OK when anything will do.
	want codes.Code
	// internal says that the protocol or the library answers this with INTERNAL.
	internal bool
}

const anyMethod = "/stillroom.v1.ProcessService/ListProducts"

var attacks = []attack{
	{name: "noise", on: func(m *maker, conn *net.TCPConn) string { return send(conn, m.noise(4096)) }},
	{name: "another protocol", on: func(m *maker, conn *net.TCPConn) string {
		return send(conn, []byte(pick(m, []string{"GET / HTTP/1.1\r\nHost: x\r\n\r\n", "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", "SSH-2.0-x\r\n", http2.ClientPreface[:12]})))
	}},
	{name: "noise after the preface", on: func(m *maker, conn *net.TCPConn) string {
		return send(conn, append([]byte(http2.ClientPreface), m.noise(4096)...))
	}},
	{name: "frames at random", on: func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		for range 1 + m.IntN(40) {
			if s.WriteRawFrame(http2.FrameType(m.IntN(12)), http2.Flags(m.IntN(256)), m.Uint32N(8), m.noise(300)) != nil {
				break
			}
		}
		return s.close()
	}},
	{name: "a frame that promises 16 MB", on: func(m *maker, conn *net.TCPConn) string {
		return send(conn, append([]byte(http2.ClientPreface), 0xff, 0xff, 0xff, byte(m.IntN(10)), 0, 0, 0, 0, 1, 'x'))
	}},
	{name: "no protobuf", want: codes.InvalidArgument, on: message(func(m *maker) []byte { return envelope(0, []byte{0xff, 0xff, 0xff, 0xff}) })},
	{name: "no protobuf in a stream", want: codes.InvalidArgument, on: func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		s.headers("/stillroom.v1.LoadService/PlanLoads", false)
		return s.data(envelope(0, []byte{0x0a, 0x7f}))
	}},
	{name: "bad UTF-8", want: codes.InvalidArgument, on: message(func(m *maker) []byte { return envelope(0, []byte{0x0a, 2, 0xc3, 0x28}) })},
	{name: "groups a thousand deep", on: message(func(m *maker) []byte { return envelope(0, bytes.Repeat([]byte{0x7b}, 30_000)) })},
	{name: "noise as a message", on: message(func(m *maker) []byte { return envelope(0, m.noise(200)) })},
	{name: "a message cut short", internal: true, on: message(func(m *maker) []byte { return envelope(0, make([]byte, 100))[:1+m.IntN(104)] })},
	{name: "a message that promises 4 GB", want: codes.ResourceExhausted, on: message(func(m *maker) []byte { return []byte{0, 0xff, 0xff, 0xff, 0xff, 1} })},
	{name: "a message over the limit", want: codes.ResourceExhausted, on: message(func(m *maker) []byte {
		return binary.BigEndian.AppendUint32([]byte{0}, uint32(DefaultLimits().RequestBytes)+1)
	})},
	{name: "no message", internal: true, on: message(func(m *maker) []byte { return nil })},
	{name: "several messages", internal: true, on: message(func(m *maker) []byte { return bytes.Repeat(envelope(0, nil), 2+m.IntN(50)) })},
	{name: "compressed without an encoding", internal: true, on: message(func(m *maker) []byte { return envelope(1, m.noise(50)) })},
	{name: "an unknown flag", internal: true, on: message(func(m *maker) []byte { return envelope(byte(2+m.IntN(254)), m.noise(50)) })},
	{name: "a bad compression", internal: true, on: withHeaders(anyMethod, func(m *maker) []string { return []string{"grpc-encoding", "gzip"} }, envelope(1, []byte("not gzip")))},
	{name: "an unknown compression", internal: true, on: withHeaders(anyMethod, func(m *maker) []string {
		return []string{"grpc-encoding", pick(m, []string{"lzma", "", "\x00", "gzip,gzip"})}
	}, envelope(1, []byte("x")))},
	{name: "a wrong content type", on: withHeaders(anyMethod, func(m *maker) []string {
		return []string{"content-type", pick(m, []string{"text/plain", "application/json", "", "application/grpc+json", "application/grpc+\xff"})}
	}, envelope(0, nil))},
	{name: "a wrong method", internal: true, on: withHeaders(anyMethod, func(m *maker) []string { return []string{":method", pick(m, []string{"GET", "PUT", "", "POST "})} }, envelope(0, nil))},
	{name: "an unknown path", on: func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		s.headers(pick(m, []string{"", "/", "//", "x", "/stillroom.v1.ProcessService/", "/stillroom.v1.Nothing/Get", "/\xff", anyMethod + "/x", strings.Repeat("/", 3000)}), false)
		return s.data(envelope(0, nil))
	}},
	{name: "a deadline that is none", internal: true, on: withHeaders(anyMethod, func(m *maker) []string {
		return []string{"grpc-timeout", pick(m, []string{"x", "-1S", "99999999H", "999999999999H", "0n", "", "1", "S"})}
	}, envelope(0, nil))},
	{name: "bad metadata", internal: true, on: withHeaders(anyMethod, func(m *maker) []string {
		return []string{pick(m, []string{"x-bin", "authorization", "Upper", "te", "traceparent", "grpc-trace-bin", "tracestate", ":odd"}), pick(m, []string{"%%%", "\x01\x02", strings.Repeat("z", 9000), "00-zz-zz-01"})}
	}, envelope(0, nil))},
	{name: "a flood of headers", on: func(m *maker, conn *net.TCPConn) string {
		var list []string
		for i := range 20_000 {
			list = append(list, "x-"+strconv.Itoa(i), "value")
		}
		taken := withHeaders(anyMethod, func(*maker) []string { return list }, envelope(0, nil))(m, conn)
		if taken == codes.OK.String() {
			return codes.Unknown.String() // it must not be
		}
		return taken
	}},
	{name: "headers without an end", on: func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		block := s.block(anyMethod)
		_ = s.WriteHeaders(http2.HeadersFrameParam{StreamID: 1, BlockFragment: block})
		for range 2000 {
			if s.WriteContinuation(1, false, s.encode("x-more", "value")) != nil {
				break
			}
		}
		return s.close()
	}},
	{name: "calls begun and reset", on: func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		for id := uint32(1); id < 800; id += 2 {
			if s.WriteHeaders(http2.HeadersFrameParam{StreamID: id, BlockFragment: s.block(anyMethod), EndHeaders: true}) != nil || s.WriteRSTStream(id, http2.ErrCodeCancel) != nil {
				break
			}
		}
		return s.close()
	}},
	{name: "calls begun and left", on: func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		for id := uint32(1); id < uint32(3+m.IntN(400)); id += 2 {
			if s.WriteHeaders(http2.HeadersFrameParam{StreamID: id, BlockFragment: s.block(pick(m, []string{anyMethod, "/stillroom.v1.QuestionService/WatchQuestions"})), EndHeaders: true}) != nil {
				break
			}
		}
		return s.close()
	}},
	{name: "a flood of pings and settings", on: func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		for range 2000 {
			if s.WritePing(false, [8]byte{}) != nil || s.WriteSettings(http2.Setting{ID: http2.SettingInitialWindowSize, Val: m.Uint32()}) != nil {
				break
			}
		}
		return s.close()
	}},
	{name: "windows that overflow", on: func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		s.headers(anyMethod, false)
		for range 3 {
			_ = s.WriteRawFrame(http2.FrameWindowUpdate, 0, uint32(m.IntN(2)), []byte{0x7f, 0xff, 0xff, 0xff})
		}
		_ = s.WriteRawFrame(http2.FrameWindowUpdate, 0, 1, []byte{0, 0, 0, 0})
		return s.close()
	}},
}

// noise is up to so many bytes at random.
func (m *maker) noise(most int) []byte {
	b := make([]byte, m.IntN(most+1))
	for i := range b {
		b[i] = byte(m.IntN(256))
	}
	return b
}

// envelope is a gRPC message frame: flag, length, message.
func envelope(flag byte, message []byte) []byte {
	return append(binary.BigEndian.AppendUint32([]byte{flag}, uint32(len(message))), message...)
}

// message is an attack by what a proper call carries.
func message(body func(*maker) []byte) func(*maker, *net.TCPConn) string {
	return func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		s.headers(anyMethod, false)
		return s.data(body(m))
	}
}

// withHeaders is an attack by a call's headers, which replace the proper ones of their names.
func withHeaders(path string, headers func(*maker) []string, body []byte) func(*maker, *net.TCPConn) string {
	return func(m *maker, conn *net.TCPConn) string {
		s := speak(conn)
		s.headers(path, false, headers(m)...)
		return s.data(body)
	}
}

// send writes and reports how the connection ended.
func send(conn *net.TCPConn, b []byte) string {
	_, _ = conn.Write(b)
	_ = conn.CloseWrite()
	n, err := io.Copy(io.Discard, conn)
	if err != nil || n == 0 {
		return "cut off"
	}
	return "closed"
}

// speaker speaks HTTP/2 without minding its rules.
type speaker struct {
	*http2.Framer
	conn    *net.TCPConn
	encoded bytes.Buffer
	hpack   *hpack.Encoder
}

func speak(conn *net.TCPConn) *speaker {
	s := &speaker{conn: conn, Framer: http2.NewFramer(conn, conn)}
	s.AllowIllegalWrites = true
	s.hpack = hpack.NewEncoder(&s.encoded)
	_, _ = io.WriteString(conn, http2.ClientPreface)
	_ = s.WriteSettings()
	return s
}

func (s *speaker) encode(pairs ...string) []byte {
	s.encoded.Reset()
	for i := 0; i+1 < len(pairs); i += 2 {
		_ = s.hpack.WriteField(hpack.HeaderField{Name: pairs[i], Value: pairs[i+1]})
	}
	return bytes.Clone(s.encoded.Bytes())
}

func (s *speaker) block(path string, changed ...string) []byte {
	pairs := []string{":method", "POST", ":scheme", "http", ":path", path, ":authority", "x", "content-type", "application/grpc", "te", "trailers"}
	for i := 0; i+1 < len(changed); i += 2 {
		known := false
		for j := 0; j < len(pairs); j += 2 {
			if pairs[j] == changed[i] {
				pairs[j+1], known = changed[i+1], true
			}
		}
		if !known {
			pairs = append(pairs, changed[i], changed[i+1])
		}
	}
	return s.encode(pairs...)
}

// headers begins call 1.
func (s *speaker) headers(path string, end bool, changed ...string) {
	block := s.block(path, changed...)
	first := block[:min(len(block), 16_000)]
	rest := block[len(first):]
	_ = s.WriteHeaders(http2.HeadersFrameParam{StreamID: 1, BlockFragment: first, EndHeaders: len(rest) == 0, EndStream: end})
	for len(rest) > 0 {
		next := rest[:min(len(rest), 16_000)]
		rest = rest[len(next):]
		if s.WriteContinuation(1, len(rest) == 0, next) != nil {
			return
		}
	}
}

// data sends the rest of call 1 and reads how it ends.
func (s *speaker) data(body []byte) string {
	for len(body) > 16_000 {
		if s.WriteData(1, false, body[:16_000]) != nil {
			break
		}
		body = body[16_000:]
	}
	_ = s.WriteData(1, true, body)
	s.ReadMetaHeaders = hpack.NewDecoder(4096, nil)
	for {
		f, err := s.ReadFrame()
		if err != nil {
			return "cut off"
		}
		switch f := f.(type) {
		case *http2.MetaHeadersFrame:
			for _, h := range f.Fields {
				if h.Name == "grpc-status" {
					n, _ := strconv.Atoi(h.Value)
					return codes.Code(n).String()
				}
			}
			if f.StreamEnded() {
				return "HTTP status " + f.PseudoValue("status")
			}
		case *http2.RSTStreamFrame:
			return fmt.Sprintf("reset (%s)", f.ErrCode)
		case *http2.GoAwayFrame:
			return fmt.Sprintf("sent away (%s)", f.ErrCode)
		}
	}
}

// close ends speaking and waits until the server has closed.
func (s *speaker) close() string {
	_ = s.conn.CloseWrite()
	if _, err := io.Copy(io.Discard, s.conn); err != nil {
		return "cut off"
	}
	return "closed"
}
