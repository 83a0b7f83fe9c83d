package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"cruet/internal/larder"
	"cruet/internal/reckon"
	"cruet/internal/verdict"
	"cruet/labels"
)

func (a *app) kitchenCommand() *cobra.Command {
	var name, maker, makerAddress, zone, units, address, public, marketCode string
	var baseDays, calibrationHours int
	var localName, named, base string
	var hosts, places, instruments, stocks []string
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
	flags.StringVar(&localName, "local-name", "", "`NAME` that the network is told, \".local\" being added (default: cruet)")
	flags.StringVar(&named, "label-address", "", "`HOST:PORT` that labels name whenever the station is served (empty: this machine's)")
	flags.StringArrayVar(&hosts, "host", nil, "further `NAME` under which the station answers; once for each")
	flags.StringArrayVar(&places, "place", nil, "`PLACE` where jars stand, suggested on pages; once for each")
	flags.StringArrayVar(&instruments, "instrument", nil, "`NAME` of an instrument, suggested on pages; once for each")
	flags.StringArrayVar(&stocks, "stock", nil, "`ID` of a label paper that pages offer; once for each (without any: all)")
	flags.StringVar(&base, "base", "", "`STRENGTH` that titrations begin with, like \"0.1 mol/L\"")
	flags.IntVar(&baseDays, "base-max-age", 0, "`DAYS` that a check of the base holds (0: 30)")
	flags.IntVar(&calibrationHours, "calibration-max-age", 0, "`HOURS` that a calibration of the meter holds (0: 24)")
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if units = strings.ToLower(units); cmd.Flags().Changed("units") && units != "metric" && units != "us" {
			return wrongUse("--units", "%q is not a system of units: metric or us.", units)
		}
		if address != "" {
			if err := larder.CheckAddress(address); err != nil {
				return wrongUse("--address", "%s", err)
			}
		}
		market, err := verdict.ParseMarket(marketCode)
		if err != nil {
			return wrongUse("--market", "%s", err)
		}
		set, m := false, existing
		cmd.Flags().Visit(func(f *pflag.Flag) {
			if set = set || f.Name != "json" && f.Name != "data"; set {
				m = create
			}
		})
		return a.inKitchen(cmd, m, func(ctx context.Context, r room) error {
			k := r.kitchen
			for _, v := range []struct {
				flag, text string
				into       *string
			}{{"name", name, &k.Name}, {"maker-line", maker, &k.MakerLine}, {"maker-address", makerAddress, &k.MakerAddress}, {"public-address", public, &k.PublicAddress}, {"time-zone", zone, &k.TimeZone}, {"address", address, &k.Address}, {"local-name", localName, &k.LocalName}, {"label-address", named, &k.NamedAddress}} {
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
			for flag, v := range map[string]struct {
				lines []string
				into  *[]string
			}{"host": {hosts, &k.Hosts}, "place": {places, &k.Places}, "instrument": {instruments, &k.Instruments}, "stock": {stocks, &k.Stocks}} {
				if cmd.Flags().Changed(flag) {
					*v.into = larder.Lines(strings.Join(v.lines, "\n"))
				}
			}
			for _, id := range k.Stocks {
				if _, err := labels.StocksIn(r.db.Dir()).Find(id); cmd.Flags().Changed("stock") && err != nil {
					return err
				}
			}
			if cmd.Flags().Changed("base") {
				if k.BaseMolPerL, err = needed("base", base, reckon.BaseStrength); err != nil {
					return err
				}
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
		{"labels name", k.NamedAddress}, {"told as", k.LocalHost()}, {"answers as", strings.Join(k.Hosts, ", ")}, {"places", strings.Join(k.Places, ", ")},
		{"instruments", strings.Join(k.Instruments, ", ")}, {"papers", strings.Join(k.Stocks, ", ")}, {"base holds", fmt.Sprintf("%d days", k.BaseMaxAge())}, {"meter holds", fmt.Sprintf("%.0f hours", k.CalibrationMaxAge().Hours())}} {
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
