// Command compose reads docker-compose.yml as a container engine would and checks what must hold of it:
// both services say when they are healthy, the server waits for the database, data is in a named volume,
// nothing is open to other machines, and no password is fixed. It then runs the program given as its
// argument with "--help" behind the server's command and health check, so that they cannot name a
// command or a flag that the program does not have.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/compose-spec/compose-go/v2/cli"
	"github.com/compose-spec/compose-go/v2/types"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: compose path/to/stillroom")
		os.Exit(2)
	}
	if err := check(context.Background(), os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "docker-compose.yml:", err)
		os.Exit(1)
	}
	fmt.Println("docker-compose.yml: what it says can be run")
}

// secret is a password that no file holds.
const secret = "a-password-from-the-environment"

func load(ctx context.Context, environment ...string) (*types.Project, error) {
	options, err := cli.NewProjectOptions([]string{"docker-compose.yml"}, cli.WithEnv(environment), cli.WithName("stillroom"))
	if err != nil {
		return nil, err
	}
	return options.LoadProject(ctx)
}

func check(ctx context.Context, program string) error {
	project, err := load(ctx, "STILLROOM_DB_PASSWORD="+secret, "STILLROOM_PORT=10000")
	if err != nil {
		return err
	}
	if _, err := load(ctx); err != nil {
		return fmt.Errorf("without any environment: %w", err)
	}

	var errs []error
	expect := func(holds bool, format string, args ...any) {
		if !holds {
			errs = append(errs, fmt.Errorf(format, args...))
		}
	}
	server, database := project.Services["server"], project.Services["postgres"]
	expect(len(project.Services) == 2 && server.Name != "" && database.Name != "", "want the services server and postgres, have %v", project.ServiceNames())

	for name, service := range project.Services {
		expect(service.HealthCheck != nil && len(service.HealthCheck.Test) > 1, "%s has no health check", name)
		for _, port := range service.Ports {
			expect(port.HostIP == "127.0.0.1", "%s opens port %s to other machines", name, port.Published)
		}
	}
	expect(server.DependsOn["postgres"].Condition == types.ServiceConditionHealthy, "the server does not wait until postgres is healthy")

	url := server.Environment["STILLROOM_DATABASE_URL"]
	expect(url != nil && strings.Contains(*url, ":"+secret+"@postgres:"), "the server's database URL does not take STILLROOM_DB_PASSWORD")
	password := database.Environment["POSTGRES_PASSWORD"]
	expect(password != nil && *password == secret, "postgres does not take STILLROOM_DB_PASSWORD")

	named := false
	for _, volume := range database.Volumes {
		_, declared := project.Volumes[volume.Source]
		named = named || (volume.Type == types.VolumeTypeVolume && declared && volume.Target == "/var/lib/postgresql/data")
	}
	expect(named, "postgres does not keep its data in a named volume")

	if server.Build == nil {
		errs = append(errs, errors.New("the server is not built from here"))
	} else {
		_, err := os.Stat(filepath.Join(server.Build.Context, server.Build.Dockerfile))
		expect(err == nil, "the server's Dockerfile: %v", err)
	}

	errs = append(errs, knows(ctx, program, server.Command))
	if server.HealthCheck != nil && len(server.HealthCheck.Test) > 2 {
		expect(server.HealthCheck.Test[1] == "/stillroom", "the health check runs %q, the image has only /stillroom", server.HealthCheck.Test[1])
		errs = append(errs, knows(ctx, program, server.HealthCheck.Test[2:]))
	}
	return errors.Join(errs...)
}

// knows asks the program for help on a command line, which fails when a part of it is unknown.
func knows(ctx context.Context, program string, args []string) error {
	out, err := exec.CommandContext(ctx, program, append(append([]string{}, args...), "--help")...).CombinedOutput()
	if err != nil || !strings.Contains(string(out), args[0]) {
		return fmt.Errorf("%s does not understand %q: %w\n%s", program, args, err, out)
	}
	return nil
}
