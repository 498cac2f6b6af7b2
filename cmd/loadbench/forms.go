package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"stillroom/internal/loadplan/class"
	"stillroom/internal/loadplan/oven"
)

// planFile reads an instance of either form and plans it. The answer can be written
// with encoding/json.
func planFile(ctx context.Context, file string, s settings) (any, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	name := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
	if strings.EqualFold(filepath.Ext(file), ".dzn") {
		in, err := oven.ParseDZN(name, string(text))
		if err != nil {
			return nil, err
		}
		return planOven(ctx, in, s)
	}
	var head struct {
		Form any `json:"form"`
	}
	if err := json.Unmarshal(text, &head); err != nil {
		return nil, fmt.Errorf("not one JSON object: %w", err)
	}
	switch head.Form {
	case oven.FormName:
		in, err := oven.ParseJSON(name, text)
		if err != nil {
			return nil, err
		}
		return planOven(ctx, in, s)
	case class.Form:
		spec, err := class.Parse(text)
		if err != nil {
			return nil, err
		}
		if spec.Name == "" {
			spec.Name = name
		}
		in, err := class.Build(spec)
		if err != nil {
			return nil, err
		}
		return class.Solve(ctx, in, class.Options{Time: s.time, Work: s.work, Seed: s.seed}).Answer, nil
	default:
		return nil, fmt.Errorf(`form %q: is no form of instance; give "form": "class" or "form": "oven"`, fmt.Sprint(head.Form))
	}
}

func planOven(ctx context.Context, in *oven.Instance, s settings) (*oven.Answer, error) {
	return oven.Solve(ctx, in, oven.Options{Time: s.time, Work: s.work, Seed: s.seed, Workers: s.workers})
}
