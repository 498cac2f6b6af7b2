package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"
)

func newToken(s *session) *cobra.Command {
	return parent(groupRun, "token", "Tokens: who is let in, as what",
		newTokenCreate(s), newTokenInvite(s), newTokenList(s), newTokenRevoke(s), newTokenWho(s))
}

func newTokenCreate(s *session) *cobra.Command {
	var role, id string
	var life time.Duration
	cmd := &cobra.Command{
		Use: "create NAME --role ROLE", Short: "Make a token for a person or a program and show its secret, once", Args: cobra.ExactArgs(1),
		Example: `  stillroom token create "Ines, instructor" --role instructor`,
		RunE: func(cmd *cobra.Command, args []string) error {
			value, ok := stillroomv1.Role_value["ROLE_"+strings.ToUpper(role)]
			if !ok || value == 0 {
				return fmt.Errorf("--role %q: choose owner, instructor or assistant; participants get an invitation (%q)", role, "stillroom token invite")
			}
			return s.createToken(cmd.Context(), id, life, nil, &stillroomv1.Token{DisplayName: args[0], Role: stillroomv1.Role(value)})
		},
	}
	cmd.Flags().StringVar(&role, "role", "", "owner, instructor or assistant")
	cmd.Flags().StringVar(&id, "id", "", "id of the token (made up when left out)")
	cmd.Flags().DurationVar(&life, "for", 0, "how long it works, e.g. 720h (90 days when left out)")
	_ = cmd.MarkFlagRequired("role")
	return cmd
}

func newTokenInvite(s *session) *cobra.Command {
	var id, address string
	var life time.Duration
	cmd := &cobra.Command{
		Use: "invite CLASS WHO", Short: "Make a participant's token for one class and show its secret, once", Args: cobra.ExactArgs(2),
		Long: `Make a participant's token for one class and show its secret, once.

With the address of the server's pages it is shown as a link to send: who opens it is let
in and sees their class. The link works until the token ends or is revoked.`,
		Example: `  stillroom token invite salsa-saturday "Aurelio Finch" --web-address https://stillroom.example`,
		RunE: func(cmd *cobra.Command, args []string) error {
			pages, err := publicAddress(address)
			if err != nil {
				return err
			}
			class, err := s.under("classes", args[0])
			if err != nil {
				return err
			}
			person, err := s.findParticipant(cmd.Context(), args[1])
			if err != nil {
				return err
			}
			return s.createToken(cmd.Context(), id, life, pages, &stillroomv1.Token{
				DisplayName: "invitation to " + last(class), Role: stillroomv1.Role_ROLE_PARTICIPANT, Participant: person, Class: class,
			})
		},
	}
	cmd.Flags().StringVar(&id, "id", "", "id of the token (made up when left out)")
	cmd.Flags().DurationVar(&life, "for", 0, "how long it works (90 days when left out)")
	cmd.Flags().StringVar(&address, "web-address", os.Getenv(webVariable), "address of the pages, to show a link instead (or $"+webVariable+")")
	return cmd
}

// createToken makes a token and shows its secret; as a link to the pages when their address is known.
func (s *session) createToken(ctx context.Context, id string, life time.Duration, pages *url.URL, token *stillroomv1.Token) error {
	k, err := s.kitchenName()
	if err != nil {
		return err
	}
	if life != 0 {
		token.ExpireTime = timestamppb.New(time.Now().Add(life))
	}
	reply, err := call(ctx, s, stillroomv1.NewAccessServiceClient, func(ctx context.Context, c stillroomv1.AccessServiceClient) (*stillroomv1.CreateTokenResponse, error) {
		return c.CreateToken(ctx, &stillroomv1.CreateTokenRequest{Parent: k, TokenId: id, Token: token, RequestId: newRequestID()})
	})
	if err != nil {
		return err
	}
	return s.show(reply, func(w io.Writer) {
		fmt.Fprintf(w, "%s, for %s until %s\n", roleWord(reply.GetToken().GetRole()), reply.GetToken().GetDisplayName(),
			reply.GetToken().GetExpireTime().AsTime().Format("2 Jan 2006"))
		secret := "export " + tokenVariable + "=" + reply.GetSecret()
		if pages != nil {
			secret = pages.JoinPath("join", reply.GetSecret()).String()
		}
		fmt.Fprintf(w, "\n  %s\n\nThis is shown once and kept nowhere; end it with: stillroom token revoke %s\n", secret, last(reply.GetToken().GetName()))
	})
}

func newTokenList(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List a kitchen's tokens", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			all, err := everything(cmd.Context(), s, stillroomv1.NewAccessServiceClient, func(ctx context.Context, c stillroomv1.AccessServiceClient, token string) (*stillroomv1.ListTokensResponse, error) {
				return c.ListTokens(ctx, &stillroomv1.ListTokensRequest{Parent: k, PageSize: everyPage, PageToken: token})
			})
			if err != nil {
				return err
			}
			return s.show(all, func(w io.Writer) {
				g := newGrid("TOKEN", "FOR", "ROLE", "WORKS UNTIL", "LAST USED", "REVOKED")
				for _, t := range all.GetTokens() {
					g.add(last(t.GetName()), t.GetDisplayName(), roleWord(t.GetRole()), clock(t.GetExpireTime(), time.Local),
						clock(t.GetLastUseTime(), time.Local), clock(t.GetRevokeTime(), time.Local))
				}
				g.write(w, "No tokens yet; make one with: stillroom token create NAME --role ROLE")
			})
		},
	}
}

func newTokenRevoke(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "revoke TOKEN", Short: "End a token at once", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			full, err := s.under("tokens", args[0])
			if err != nil {
				return err
			}
			token, err := call(cmd.Context(), s, stillroomv1.NewAccessServiceClient, func(ctx context.Context, c stillroomv1.AccessServiceClient) (*stillroomv1.Token, error) {
				return c.RevokeToken(ctx, &stillroomv1.RevokeTokenRequest{Name: full})
			})
			if err != nil {
				return err
			}
			return s.show(token, func(w io.Writer) { fmt.Fprintf(w, "token %s lets nobody in any more\n", last(full)) })
		},
	}
}

func newTokenWho(s *session) *cobra.Command {
	return &cobra.Command{
		Use: "who", Short: "Say who the server takes you for", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			who, err := call(cmd.Context(), s, stillroomv1.NewAccessServiceClient, func(ctx context.Context, c stillroomv1.AccessServiceClient) (*stillroomv1.Caller, error) {
				return c.GetCaller(ctx, &stillroomv1.GetCallerRequest{})
			})
			if err != nil {
				return err
			}
			return s.show(who, func(w io.Writer) {
				fmt.Fprintf(w, "%s (%s)", roleWord(who.GetRole()), cmp.Or(who.GetDisplayName(), who.GetSubject()))
				if who.GetKitchen() != "" {
					fmt.Fprintf(w, " in %s", last(who.GetKitchen()))
				}
				if who.GetSubject() != "" {
					fmt.Fprintf(w, ", recorded as %s, signed in until %s", who.GetSubject(), clock(who.GetExpireTime(), time.Local))
				}
				fmt.Fprintln(w)
			})
		},
	}
}

func roleWord(r stillroomv1.Role) string {
	return strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_"))
}

func newRecord(s *session) *cobra.Command {
	var most int32
	cmd := &cobra.Command{
		Use: "record", Short: "Read who changed what in a kitchen, newest first", GroupID: groupRun, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := s.kitchenName()
			if err != nil {
				return err
			}
			reply, err := call(cmd.Context(), s, stillroomv1.NewAccessServiceClient, func(ctx context.Context, c stillroomv1.AccessServiceClient) (*stillroomv1.ListAuditEntriesResponse, error) {
				return c.ListAuditEntries(ctx, &stillroomv1.ListAuditEntriesRequest{Parent: k, PageSize: most})
			})
			if err != nil {
				return err
			}
			return s.show(reply, func(w io.Writer) {
				g := newGrid("WHEN", "WHO", "AS", "DID", "TO")
				for _, e := range reply.GetAuditEntries() {
					g.add(clock(e.GetTime(), time.Local), e.GetCaller(), roleWord(e.GetRole()), last(e.GetMethod()), e.GetResource())
				}
				g.write(w, "Nothing is recorded yet.")
			})
		},
	}
	cmd.Flags().Int32Var(&most, "most", 50, "how many entries, at most 1000")
	return cmd
}
