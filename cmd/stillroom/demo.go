package main

import (
	"bufio"
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/localpg"
)

//go:embed demo
var demoFiles embed.FS

// The demonstration's scenario: an invented teaching kitchen high in the hills.
const (
	demoKitchen  = "high-meadow"
	demoAltitude = "5,430 ft"
	demoZone     = "America/Denver"
	demoClass    = "salsa-saturday"
	// demoParticipant is somebody on the roster.
	demoParticipant = "Ximena Okoro-Vale"
	demoSalsa       = "spicy_cranberry_salsa"
	demoRelish      = "pickled_pepper_onion_relish"
	demoStations    = 8
)

func newDemo(s *session) *cobra.Command {
	var once bool
	var listen, pages, database, data string
	cmd := &cobra.Command{
		Use: "demo", Short: "Set up an invented kitchen with a class and show what the program makes of it", GroupID: groupRun, Args: cobra.NoArgs,
		Long: `Set up an invented community kitchen with one Saturday class, and show its shopping
list, its canner loads and the running order of its question session. Everything
shown comes from the server, by the commands printed above it.

The server stays up, so that you can go on from there; --once ends it.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if database == "" && data == "" {
				folder, err := localpg.DefaultFolder()
				if err != nil {
					return err
				}
				data = filepath.Join(folder, "demo")
			}
			if once && !cmd.Flags().Changed("listen") {
				listen = "127.0.0.1:0"
			}
			if once && !cmd.Flags().Changed("web") {
				pages = "" // it ends before anybody could look
			}
			srv, err := startServer(cmd.Context(), serverOptions{
				open: true, listen: listen, web: pages, database: database, data: data, log: slog.New(slog.NewTextHandler(s.errOut, nil)), notice: s.notice,
			})
			if err != nil {
				return err
			}
			s.server, s.output = srv.address, "table"
			d := &demo{session: s}
			err = d.play(cmd.Context())
			if err == nil && !once {
				err = d.whatNext(cmd.Context(), srv)
			}
			if err == nil && !once {
				err = srv.wait(cmd.Context())
			}
			s.close()
			s.conn = nil
			if errors.Is(cmd.Context().Err(), context.Canceled) {
				err = nil // Ctrl-C is how it is meant to end
			}
			return errors.Join(err, srv.stop())
		},
	}
	cmd.Flags().BoolVar(&once, "once", false, "show it and end")
	cmd.Flags().StringVar(&listen, "listen", defaultServer, "address to listen on, host:port; port 0 takes a free one")
	cmd.Flags().StringVar(&pages, "web", defaultPages, "address to show the pages on; port 0 takes a free one; none when empty")
	cmd.Flags().StringVar(&database, "database", os.Getenv(localpg.URLVariable), "Postgres to use (or $"+localpg.URLVariable+")")
	cmd.Flags().StringVar(&data, "data", "", "folder of the private Postgres (a folder demo beside the server's when left out)")
	return cmd
}

// demo plays the scenario through the program's own commands.
type demo struct {
	*session
}

func (d *demo) play(ctx context.Context) error {
	fmt.Fprintln(d.out, "Stillroom, by the example of the High Meadow community kitchen (invented, like everybody in it).")
	ready, err := d.find(ctx)
	if err != nil {
		return err
	}
	if ready {
		fmt.Fprintf(d.out, "The kitchen %q is here from an earlier time.\n", d.kitchen)
	} else if err := d.setUp(ctx); err != nil {
		return err
	}
	for _, shown := range [][]string{
		{"class", "show", demoClass},
		{"batch", "list", demoClass},
		{"batch", "check", demoClass},
		{"shopping", "make", demoClass},
		{"loads", "plan", demoClass, "--time", "3s"},
		{"question", "order", demoClass},
	} {
		if err := d.show(ctx, shown...); err != nil {
			return err
		}
	}
	return nil
}

// find chooses the kitchen: the newest one of an earlier demonstration when its
// class is still to come and all its questions were asked, else a name not taken.
func (d *demo) find(ctx context.Context) (ready bool, err error) {
	all, err := everything(ctx, d.session, stillroomv1.NewKitchenServiceClient, func(ctx context.Context, c stillroomv1.KitchenServiceClient, token string) (*stillroomv1.ListKitchensResponse, error) {
		return c.ListKitchens(ctx, &stillroomv1.ListKitchensRequest{PageSize: everyPage, PageToken: token})
	})
	if err != nil {
		return false, err
	}
	taken := map[string]bool{}
	for _, k := range all.GetKitchens() {
		taken[last(k.GetName())] = true
	}
	d.kitchen = demoKitchen
	for n := 2; taken[d.kitchen]; n++ {
		if d.complete(ctx) {
			return true, nil
		}
		d.kitchen = fmt.Sprintf("%s-%d", demoKitchen, n)
	}
	return false, nil
}

// complete says whether the chosen kitchen is one that an earlier demonstration finished.
func (d *demo) complete(ctx context.Context) bool {
	class, _, err := d.getClass(ctx, demoClass)
	if err != nil || !class.GetStartTime().AsTime().After(time.Now()) {
		return false
	}
	asked, err := everything(ctx, d.session, stillroomv1.NewQuestionServiceClient, func(ctx context.Context, c stillroomv1.QuestionServiceClient, token string) (*stillroomv1.ListQuestionsResponse, error) {
		return c.ListQuestions(ctx, &stillroomv1.ListQuestionsRequest{Parent: "kitchens/" + d.kitchen, PageSize: everyPage, PageToken: token})
	})
	return err == nil && len(asked.GetQuestions()) >= len(demoQuestions())
}

// setUp makes the kitchen, its class and everything in it.
func (d *demo) setUp(ctx context.Context) error {
	saturday := nextSaturday(time.Now())
	folder, err := os.MkdirTemp("", "stillroom-demo-")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(folder) }()
	for _, name := range []string{"roster.csv", "equipment.yaml", "offers.csv"} {
		data, err := demoFiles.ReadFile("demo/" + name)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(folder, name), data, 0o600); err != nil {
			return err
		}
	}
	benches := []string{"station", "add", demoClass}
	for i := range demoStations {
		benches = append(benches, fmt.Sprintf("bench-%d", i+1))
	}
	file := func(name string) string { return filepath.Join(folder, name) }
	for _, step := range [][]string{
		{"kitchen", "create", d.kitchen, "--name", "High Meadow community kitchen", "--currency", "USD"},
		{"site", "create", "hall", "--name", "Meadow hall", "--altitude", demoAltitude, "--zone", demoZone},
		{"class", "create", demoClass, "--name", "Salsa and relish on Saturday", "--site", "hall", "--start", saturday + " 09:00", "--length", "4h",
			"--places", "16", "--handlers", "2", "--questions-at", saturday + " 12:15", "--questions-minutes", "25"},
		benches,
		{"roster", "import", demoClass, file("roster.csv")},
		{"equipment", "import", file("equipment.yaml")},
		{"recipe", "adopt", demoSalsa, "--id", "cranberry-salsa"},
		{"recipe", "adopt", demoRelish, "--id", "pepper-relish"},
		{"offer", "import", file("offers.csv")},
		{"batch", "propose", demoClass, "--want", "cranberry-salsa=2", "--want", "pepper-relish=2", "--apply"},
	} {
		if err := d.quietly(ctx, step...); err != nil {
			return err
		}
	}
	return d.ask(ctx)
}

// nextSaturday is the first Saturday at least five days away, as a date.
func nextSaturday(now time.Time) string {
	day := now.AddDate(0, 0, 5)
	for day.Weekday() != time.Saturday {
		day = day.AddDate(0, 0, 1)
	}
	return day.Format("2006-01-02")
}

// demoQuestion is a question of the scenario: who asks what, and who says "me too".
type demoQuestion struct {
	who, text string
	endorsers []string
}

// demoQuestions reads questions.txt, whose first line says its form.
func demoQuestions() []demoQuestion {
	data, err := demoFiles.ReadFile("demo/questions.txt")
	if err != nil {
		panic(err) // it is part of the program
	}
	var all []demoQuestion
	lines := bufio.NewScanner(strings.NewReader(string(data)))
	for lines.Scan() {
		line := lines.Text()
		if who, me := strings.CutPrefix(line, "+ "); me {
			all[len(all)-1].endorsers = append(all[len(all)-1].endorsers, who)
		} else if who, text, ok := strings.Cut(line, " | "); ok {
			all = append(all, demoQuestion{who: who, text: text})
		}
	}
	return all
}

func (d *demo) ask(ctx context.Context) error {
	for i, q := range demoQuestions() {
		id := fmt.Sprintf("q-%d", i+1)
		if err := d.quietly(ctx, "question", "ask", q.text, "--asker", q.who, "--class", demoClass, "--id", id); err != nil {
			return err
		}
		for _, who := range q.endorsers {
			if err := d.quietly(ctx, "question", "endorse", id, who); err != nil {
				return err
			}
		}
	}
	return nil
}

// show prints a command and what it says.
func (d *demo) show(ctx context.Context, args ...string) error {
	fmt.Fprintf(d.out, "\n$ stillroom %s\n", strings.Join(args, " "))
	return d.command(ctx, d.out, args...)
}

// quietly runs a command whose reply nobody needs to see.
func (d *demo) quietly(ctx context.Context, args ...string) error {
	if err := d.command(ctx, io.Discard, args...); err != nil {
		return fmt.Errorf("stillroom %s: %w", strings.Join(args, " "), err)
	}
	return nil
}

// command runs one of the program's commands against the demonstration's server.
func (d *demo) command(ctx context.Context, out io.Writer, args ...string) error {
	inner := &session{in: strings.NewReader(""), out: out, errOut: d.errOut, conn: d.conn}
	root := newRoot(inner)
	root.SetOut(out)
	root.SetErr(d.errOut)
	root.SetArgs(append(args, "--server", d.server, "--kitchen", d.kitchen))
	err := root.ExecuteContext(ctx)
	d.conn = inner.conn
	return err
}

// linkInOutput finds the invitation in what "token invite" prints.
var linkInOutput = regexp.MustCompile(`https?://\S+/join/\S+`)

func (d *demo) whatNext(ctx context.Context, srv *server) error {
	if srv.pages != nil {
		var invited bytes.Buffer
		if err := d.command(ctx, &invited, "token", "invite", demoClass, demoParticipant, "--web-address", srv.pages.address); err != nil {
			return fmt.Errorf("inviting %s: %w", demoParticipant, err)
		}
		fmt.Fprintf(d.out, "\nThe same as pages: %s/kitchens/%s/classes/%s\n", srv.pages.address, d.kitchen, demoClass)
		fmt.Fprintf(d.out, "As %s sees it on a telephone (in a private window, or sign out afterwards):\n%s\n", demoParticipant, linkInOutput.Find(invited.Bytes()))
	}
	fmt.Fprintf(d.out, `
The server is up on %s (%s) until you press Ctrl-C.
In another terminal, try:

  export STILLROOM_SERVER=%s STILLROOM_KITCHEN=%s
  stillroom roster list %s
  stillroom shopping show %s --explain
  stillroom process --help
  stillroom question list
  stillroom question likely "can I reuse lids"

(stillroom stands for: go run ./cmd/stillroom)
`, srv.address, srv.where, srv.address, d.kitchen, demoClass, demoClass)
	return nil
}
