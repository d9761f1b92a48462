package main

import (
	"time"

	"github.com/spf13/cobra"

	"heeltap/cmd/internal/people"
)

// peopleChange builds a verb that does something to the list of people, by somebody named.
func (e *env) peopleChange(cmd *cobra.Command, f func(b *people.Book, by people.Person, args []string) error) *cobra.Command {
	var by string
	cmd.Flags().StringVar(&by, "by", "", "who does it (else HEELTAP_BY)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		who, err := e.who(by)
		if err != nil {
			return err
		}
		return e.changePeople(cmd.Context(), func(b *people.Book, _ *time.Location) error { return f(b, people.Console(who), args) })
	}
	return cmd
}

// welcome prints the one-time link of a person.
func (e *env) welcome(b *people.Book, p people.Person, token string) {
	e.printf("%s sets a password with this link, once, within %.0f hours. Put the server's address before it:\n  /welcome/%s\n", p.Name, b.Good.Hours(), token)
}

func (e *env) peopleAddCommand() *cobra.Command {
	var name, role string
	var cmd *cobra.Command
	cmd = e.peopleChange(&cobra.Command{
		Use:   "add LOGIN --name NAME --role ROLE",
		Short: "Add a person, and print the one-time link by which they set their password",
		Long: `Add a person, and print the one-time link by which they set their password. The journal will name them by NAME, so no
two people can have, or have had, the same one.`,
		Example: `  heeltap people add mika --name "Mika Aldous" --role floor`,
		Args:    cobra.ExactArgs(1),
	}, func(b *people.Book, by people.Person, args []string) error {
		r, err := roleNamed(role)
		if err != nil {
			return err
		}
		token, p, err := b.Invite(cmd.Context(), by, name, args[0], r)
		if err != nil {
			return err
		}
		e.printf("Added %s (%s), %s\n", p.Name, p.Login, p.Role)
		e.welcome(b, p, token)
		return nil
	})
	cmd.Flags().StringVar(&name, "name", "", "the name that the journal gives them")
	cmd.Flags().StringVar(&role, "role", "", "one of "+rolesText())
	return cmd
}

func (e *env) peopleResetCommand() *cobra.Command {
	var cmd *cobra.Command
	cmd = e.peopleChange(&cobra.Command{
		Use:   "reset LOGIN",
		Short: "Print a new one-time link by which a person sets a new password",
		Long: `Print a new one-time link by which a person sets a new password. The old password is good until the link is used; if
somebody else may know it, switch the person off and on again too, which ends whatever is open in their name.`,
		Example: `  heeltap people reset mika`,
		Args:    cobra.ExactArgs(1),
	}, func(b *people.Book, by people.Person, args []string) error {
		p, err := b.ByLogin(cmd.Context(), args[0])
		if err != nil {
			return err
		}
		token, err := b.Reset(cmd.Context(), by, p.ID)
		if err != nil {
			return err
		}
		e.welcome(b, p, token)
		return nil
	})
	return cmd
}

func (e *env) peopleRoleCommand() *cobra.Command {
	var cmd *cobra.Command
	cmd = e.peopleChange(&cobra.Command{
		Use:     "role LOGIN ROLE",
		Short:   "Give a person another role, which ends whatever is open in their name",
		Example: `  heeltap people role mika quality`,
		Args:    cobra.ExactArgs(2),
	}, func(b *people.Book, by people.Person, args []string) error {
		r, err := roleNamed(args[1])
		if err != nil {
			return err
		}
		p, err := b.ByLogin(cmd.Context(), args[0])
		if err != nil {
			return err
		}
		if err := b.SetRole(cmd.Context(), by, p.ID, r); err != nil {
			return err
		}
		e.printf("%s is %s now: %s\n", p.Name, r, r.Words())
		return nil
	})
	return cmd
}

func (e *env) peopleRenameCommand() *cobra.Command {
	var cmd *cobra.Command
	cmd = e.peopleChange(&cobra.Command{
		Use:     "rename LOGIN NAME",
		Short:   "Give a person another name; entries under the old one stay as they are, and theirs",
		Example: `  heeltap people rename mika "Mika Aldous-Brand"`,
		Args:    cobra.ExactArgs(2),
	}, func(b *people.Book, by people.Person, args []string) error {
		p, err := b.ByLogin(cmd.Context(), args[0])
		if err != nil {
			return err
		}
		if err := b.Rename(cmd.Context(), by, p.ID, args[1]); err != nil {
			return err
		}
		e.printf("%s is called %s now\n", p.Name, args[1])
		return nil
	})
	return cmd
}

// peopleOffCommand switches a person off, or on again.
func (e *env) peopleOffCommand(off bool) *cobra.Command {
	word, short := "on", "Let a person sign in again"
	if off {
		word, short = "off", "Stop a person from signing in, and end whatever is open in their name"
	}
	var cmd *cobra.Command
	cmd = e.peopleChange(&cobra.Command{Use: word + " LOGIN", Short: short, Example: "  heeltap people " + word + " mika", Args: cobra.ExactArgs(1)},
		func(b *people.Book, by people.Person, args []string) error {
			p, err := b.ByLogin(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			if err := b.SetOff(cmd.Context(), by, p.ID, off); err != nil {
				return err
			}
			e.printf("%s is switched %s\n", p.Name, word)
			return nil
		})
	return cmd
}
