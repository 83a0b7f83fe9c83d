package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/verdict"
)

func (a *app) kitchenCommand() *cobra.Command {
	var name, maker, makerAddress, zone, units, address, public, marketCode string
	var baseDays, calibrationHours int
	cmd := &cobra.Command{
		Use: "kitchen", Short: "Show or set the kitchen's name, time zone, units and market",
		Long: `Show the kitchen's settings, or set those that are given. What was measured is kept
as it is; the units and the time zone change only how it is shown.`,
		Example: `  cruet kitchen
  cruet kitchen --name "Quince Yard" --maker-line "Quince Yard, ask for ro or mk" --time-zone Europe/Dublin --units metric`,
		Args: exactly(),
	}
	flags := cmd.Flags()
	flags.StringVar(&name, "name", "", "`NAME` of the kitchen")
	flags.StringVar(&maker, "maker-line", "", "`TEXT` on bottles: who made it, who to ask")
	flags.StringVar(&makerAddress, "maker-address", "", "`TEXT` on bottles: the maker's postal address")
	flags.StringVar(&public, "public-address", "", "`URL` where a web host carries what \"cruet publish\" writes")
	flags.StringVar(&zone, "time-zone", "", "`ZONE` like Europe/Dublin")
	flags.StringVar(&units, "units", "", "`SYSTEM` shown: metric or us")
	flags.StringVar(&address, "address", "", "`HOST:PORT` that labels name, until the station is next served elsewhere")
	flags.StringVar(&marketCode, "market", "", "`MARKET` whose rules the verdicts follow: "+marketCodes()+" (default: the strictest of all)")
	flags.IntVar(&baseDays, "base-max-age", 0, "`DAYS` that a check of the base holds (0: 30)")
	flags.IntVar(&calibrationHours, "calibration-max-age", 0, "`HOURS` that a calibration of the meter holds (0: 24)")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if units = strings.ToLower(units); cmd.Flags().Changed("units") && units != "metric" && units != "us" {
			return wrongUse("--units", "%q is not a system of units: metric or us.", units)
		}
		if address != "" {
			if err := checkAddress(address); err != nil {
				return wrongUse("--address", "%s", err)
			}
		}
		market, err := verdict.ParseMarket(marketCode)
		if err != nil {
			return wrongUse("--market", "%s", err)
		}
		set, m := false, existing
		for _, f := range []string{"name", "maker-line", "maker-address", "public-address", "time-zone", "units", "address", "market", "base-max-age", "calibration-max-age"} {
			if set = set || cmd.Flags().Changed(f); set {
				m = create
			}
		}
		return a.inKitchen(cmd, m, func(ctx context.Context, r room) error {
			k := r.kitchen
			for _, v := range []struct {
				flag, text string
				into       *string
			}{{"name", name, &k.Name}, {"maker-line", maker, &k.MakerLine}, {"maker-address", makerAddress, &k.MakerAddress}, {"public-address", public, &k.PublicAddress}, {"time-zone", zone, &k.TimeZone}, {"address", address, &k.Address}} {
				if cmd.Flags().Changed(v.flag) {
					*v.into = v.text
				}
			}
			if cmd.Flags().Changed("market") {
				k.Market = string(market)
			}
			if cmd.Flags().Changed("base-max-age") {
				k.BaseMaxAgeDays = baseDays
			}
			if cmd.Flags().Changed("calibration-max-age") {
				k.CalibrationMaxAgeHours = calibrationHours
			}
			if units != "" {
				k.USUnits = units == "us"
			}
			if set {
				if err := r.db.SetKitchen(ctx, k); err != nil {
					return err
				}
			}
			return a.printKitchen(k, *asJSON)
		})
	}
	return cmd
}

func (a *app) printKitchen(k larder.Kitchen, asJSON bool) error {
	if asJSON {
		return a.printJSON(k)
	}
	units := "metric"
	if k.USUnits {
		units = "us"
	}
	for _, l := range [][2]string{{"name", k.Name}, {"maker line", k.MakerLine}, {"maker addr.", k.MakerAddress}, {"public", k.PublicAddress}, {"time zone", k.TimeZone}, {"units", units}, {"address", k.Address}, {"market", marketName(k.Market)},
		{"base holds", fmt.Sprintf("%d days", k.BaseMaxAge())}, {"meter holds", fmt.Sprintf("%.0f hours", k.CalibrationMaxAge().Hours())}} {
		if l[1] == "" {
			l[1] = none
		}
		fmt.Fprintf(a.out, "%-11s %s\n", l[0], l[1])
	}
	return nil
}

func marketCodes() string {
	var codes []string
	for _, m := range verdict.Markets() {
		if m != verdict.Elsewhere {
			codes = append(codes, string(m))
		}
	}
	return strings.Join(codes, ", ") + ", elsewhere"
}

func marketName(code string) string {
	m, err := verdict.ParseMarket(code)
	if err != nil {
		return code
	}
	return m.Name()
}
