package identity

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"stillroom/internal/access"
	"stillroom/internal/fault"
)

// mostFile is the size of the largest file that is read, in bytes.
const mostFile = 1 << 20

// Provider is what a kitchen agreed on with its identity provider.
type Provider struct {
	// Issuer is the URL that the provider calls itself by; its keys are found below it.
	Issuer string `yaml:"issuer"`
	// Audience is what the provider calls this service: tokens made for others are refused.
	Audience string `yaml:"audience"`
	// Clients, when there are any, are the only programs that may have asked for the token (azp or client_id).
	Clients []string `yaml:"clients"`
	// Kitchen is the id of the one kitchen the provider lets people into.
	Kitchen string `yaml:"kitchen"`
	// RoleClaim names the claim that holds what somebody is: a text or a list of texts. Where no claim
	// has that name, its dots lead into objects: realm_access.roles.
	RoleClaim string `yaml:"role_claim"`
	// Roles gives, for owner, instructor and assistant, the claim's values that make somebody one. The
	// highest counts.
	Roles map[string][]string `yaml:"roles"`
	// Algorithms may have signed the token; RS256, ES256, PS256 and EdDSA when none are named.
	Algorithms []string `yaml:"algorithms"`
	// DigestSubject keeps a digest of the subject in the record of changes, for providers whose
	// subjects are people's names.
	DigestSubject bool `yaml:"digest_subject"`
	// SignIn has people sign in to the pages by this provider; nil when they do not.
	SignIn *SignIn `yaml:"sign_in"`
}

// providersFile is the documented shape of the file:
//
//	providers:
//	- issuer: https://login.example.org/realms/meadow
//	  audience: stillroom
//	  kitchen: high-meadow
//	  role_claim: groups
//	  roles:
//	    owner: [kitchen-office]
//	    instructor: [teachers]
//	    assistant: [helpers, volunteers]
//	  clients: [stillroom-cli]     # optional
//	  algorithms: [ES256]          # optional
//	  digest_subject: true         # optional
//	  sign_in: {title: Meadow account, secret_variable: MEADOW_SECRET, scopes: [groups]}   # optional, for the pages
type providersFile struct {
	Providers []Provider `yaml:"providers"`
}

// publicAlgorithms are the signatures that may be allowed: those that are checked with a
// key anybody may know. HMAC and "none" are not among them.
var publicAlgorithms = []string{"RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA"}

// usualAlgorithms are allowed when a provider's entry names none.
var usualAlgorithms = []string{"RS256", "ES256", "PS256", "EdDSA"}

var kitchenID = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// Read reads a file of providers. An Invalid fault names every field that is wrong.
func Read(r io.Reader) ([]Provider, error) {
	text, err := io.ReadAll(io.LimitReader(r, mostFile+1))
	if err != nil {
		return nil, err
	}
	if len(text) > mostFile {
		return nil, fault.New(fault.Invalid, "the file of identity providers is larger than 1 MiB")
	}
	decoder := yaml.NewDecoder(bytes.NewReader(text))
	decoder.KnownFields(true)
	var file providersFile
	if err := decoder.Decode(&file); err != nil && !errors.Is(err, io.EOF) {
		return nil, fault.New(fault.Invalid, "the file of identity providers cannot be read: %s", strings.TrimPrefix(err.Error(), "yaml: "))
	}
	var more any
	if err := decoder.Decode(&more); !errors.Is(err, io.EOF) {
		return nil, fault.New(fault.Invalid, "the file of identity providers goes on after its first document; put all providers in one list")
	}
	if len(file.Providers) == 0 {
		return nil, fault.Field("providers", "", "is missing", "list at least one provider, or leave --identity out")
	}
	var c fault.Collector
	seen := map[string]int{}
	for i, p := range file.Providers {
		at := fmt.Sprintf("providers[%d].", i)
		p.check(&c, at)
		key := p.Issuer + " " + p.Audience
		if first, twice := seen[key]; twice {
			c.Add(at+"audience", p.Audience, fmt.Sprintf("is that of providers[%d] too, so a token would open two kitchens", first), "agree on an audience for each kitchen")
		}
		seen[key] = i
	}
	return file.Providers, c.Err()
}

func (p Provider) check(c *fault.Collector, at string) {
	if err := checkURL(p.Issuer); err != nil {
		c.Add(at+"issuer", p.Issuer, err.Error(), "give the https URL that the provider calls itself by, as in its tokens' iss")
	}
	if p.Audience == "" {
		c.Add(at+"audience", "", "is missing", "give what the provider puts into aud for this service")
	}
	if !kitchenID.MatchString(p.Kitchen) {
		c.Add(at+"kitchen", p.Kitchen, "is not a kitchen's id", "give the id as in kitchens/{id}")
	}
	if p.RoleClaim == "" {
		c.Add(at+"role_claim", "", "is missing", "name the claim that holds roles or groups")
	}
	values := 0
	for _, name := range sortedKeys(p.Roles) {
		role, known := access.ParseRole(name)
		switch {
		case role == access.Participant:
			c.Add(at+"roles", name, "cannot be given by a provider, since it knows of no class", `invite participants with "stillroom token invite"`)
		case !known || role > access.Owner:
			c.Add(at+"roles", name, "is no role that a provider can give", "use owner, instructor and assistant")
		}
		for _, v := range p.Roles[name] {
			if v == "" {
				c.Add(at+"roles."+name, "", "has an empty value", "give the claim's values")
			}
			values++
		}
	}
	if values == 0 {
		c.Add(at+"roles", "", "lets nobody in", "give for owner, instructor or assistant the claim's values")
	}
	if p.SignIn != nil && p.SignIn.Title == "" {
		c.Add(at+"sign_in.title", "", "is missing", "give what people know the provider by")
	}
	if p.SignIn != nil && p.SignIn.SecretVariable != "" && os.Getenv(p.SignIn.SecretVariable) == "" {
		c.Add(at+"sign_in.secret_variable", p.SignIn.SecretVariable, "is not set in the environment", "set it to the client's secret, or leave it out for a client without one")
	}
	for _, a := range p.Algorithms {
		if !slices.Contains(publicAlgorithms, a) {
			c.Add(at+"algorithms", a, "is not allowed to sign tokens", "choose among "+strings.Join(publicAlgorithms, ", "))
		}
	}
}

func sortedKeys(m map[string][]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// checkURL lets through https, and plain http on this machine.
func checkURL(text string) error {
	u, err := url.Parse(text)
	switch {
	case text == "":
		return errors.New("is missing")
	case err != nil || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "":
		return errors.New("is not the URL of an issuer")
	case u.Scheme == "https" || u.Scheme == "http" && onThisMachine(u.Hostname()):
		return nil
	}
	return errors.New("is not reached by https")
}

func onThisMachine(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}
