package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

// Environment variables that stand in for flags.
const (
	serverVariable  = "STILLROOM_SERVER"
	kitchenVariable = "STILLROOM_KITCHEN"
)

// defaultServer is where serve listens and where commands call.
const defaultServer = "127.0.0.1:7419"

func newRoot(s *session) *cobra.Command {
	root := &cobra.Command{
		Use:   "stillroom",
		Short: "Plan home-preserving classes: rosters, batches, shopping, canner loads, questions",
		Long: `Stillroom plans classes in home preserving: who comes, what each station makes,
what to buy, how every hot jar gets through the canners before the room closes,
and which questions to take first.

Try it:  stillroom demo
Run it:  stillroom serve        (then the other commands, in another terminal)`,
		SilenceUsage:  true,
		SilenceErrors: true,
		PersistentPreRunE: func(*cobra.Command, []string) error {
			return oneOf("--output", s.output, "table", "json")
		},
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return fmt.Errorf("%w; see %q", err, cmd.CommandPath()+" --help")
	})
	flags := root.PersistentFlags()
	flags.StringVar(&s.server, "server", envOr(serverVariable, defaultServer), "address of the server, host:port (or $"+serverVariable+")")
	flags.StringVarP(&s.kitchen, "kitchen", "k", os.Getenv(kitchenVariable), "id of the kitchen (or $"+kitchenVariable+")")
	flags.StringVarP(&s.output, "output", "o", "table", "table, for people, or json")
	flags.BoolVar(&s.tls, "tls", false, "reach the server over TLS")
	flags.StringVar(&s.caFile, "ca", "", "over TLS, trusting the authorities in this PEM file")
	flags.BoolVar(&s.plaintext, "plaintext", false, "reach a server on another machine unencrypted")
	flags.DurationVar(&s.timeout, "timeout", 30*time.Second, "give up on a call after this long")
	_ = root.RegisterFlagCompletionFunc("output", cobra.FixedCompletions([]string{"table", "json"}, cobra.ShellCompDirectiveNoFileComp))

	root.AddGroup(
		&cobra.Group{ID: groupRun, Title: "Run:"},
		&cobra.Group{ID: groupClass, Title: "Classes and people:"},
		&cobra.Group{ID: groupPlan, Title: "Plan and teach:"},
	)
	root.AddCommand(
		newDemo(s), newServe(s), newBackup(s), newRestore(s), newHealth(s), newToken(s), newRecord(s),
		newKitchen(s), newSite(s), newClass(s), newStation(s), newBatch(s), newRoster(s), newParticipant(s),
		newRecipe(s), newEquipment(s), newProcess(s),
		newOffer(s), newStock(s), newShopping(s),
		newQuestion(s), newLive(s),
		newLoads(s), newSheet(s),
	)
	return root
}

const (
	groupRun   = "run"
	groupClass = "class"
	groupPlan  = "plan"
)

// parent makes a command that only holds others. An unknown word below it is an
// error that names what there is.
func parent(group, use, short string, children ...*cobra.Command) *cobra.Command {
	cmd := &cobra.Command{
		Use: use, Short: short, GroupID: group,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cmd.Help()
			}
			var names []string
			for _, c := range cmd.Commands() {
				names = append(names, c.Name())
			}
			return fmt.Errorf("%s knows no %q; it has: %s", cmd.CommandPath(), args[0], strings.Join(names, ", "))
		},
	}
	cmd.AddCommand(children...)
	return cmd
}

func envOr(name, otherwise string) string {
	if v := os.Getenv(name); v != "" {
		return v
	}
	return otherwise
}

// oneOf checks the value of a flag against what it may be.
func oneOf(flag, value string, allowed ...string) error {
	for _, a := range allowed {
		if value == a {
			return nil
		}
	}
	return fmt.Errorf("%s %q: choose %s", flag, value, strings.Join(allowed, " or "))
}

// withTimeout bounds one call.
func (s *session) withTimeout(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(ctx, s.timeout)
}
