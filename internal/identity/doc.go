// Package identity lets in whom a kitchen's own identity provider vouches for
// (OpenID Connect Core 1.0, Discovery 1.0; RFC 7519, RFC 7517).
//
// A kitchen's provider is trusted for that kitchen and no other. A token must be
// signed with a key its issuer publishes, by an algorithm with a public key, be made
// for the audience agreed on, be in time, and carry a claim that gives a role. What a
// provider cannot do is let in operators and participants: the first run the service,
// and the second are bound to one class, of which a provider knows nothing.
//
// A server starts without its providers, and one that is away holds up only those it
// vouches for.
package identity
