package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
	"cruet/internal/web"
)

// ProblemType explains one type of problem.
type ProblemType struct {
	Type    string `json:"type"`
	Title   string `json:"title"`
	Status  int    `json:"status"`
	Meaning string `json:"meaning"`
}

// KitchenSettings are what the maker chose.
type KitchenSettings struct {
	Name      string `json:"name" example:"Quince Yard" doc:"The kitchen's name."`
	MakerLine string `json:"maker_line,omitempty" example:"Quince Yard, ask for Mo" doc:"Printed on bottles: whom to ask."`
	TimeZone  string `json:"time_zone,omitempty" example:"Europe/Dublin" doc:"IANA name. Empty: the station's."`
	USUnits   bool   `json:"us_units,omitempty" doc:"Pages show US units. Here units are always those in the names."`
	Market    string `json:"market,omitempty" doc:"Whose rules the verdicts follow."`

	BaseMaxAgeDays         int `json:"base_max_age_days,omitempty" example:"30" doc:"How many days a check of the base holds; 0 is the usual 30."`
	CalibrationMaxAgeHours int `json:"calibration_max_age_hours,omitempty" example:"24" doc:"How many hours a calibration of the meter holds; 0 is the usual 24."`

	Instruments   []string         `json:"instruments,omitempty" doc:"Instruments that pages suggest."`
	Places        []string         `json:"places,omitempty" doc:"Places that pages suggest."`
	BaseName      string           `json:"base_name,omitempty" doc:"The base that is titrated with."`
	BaseMolPerL   chem.MolPerLitre `json:"base_mol_per_l,omitempty" example:"0.1" doc:"The strength that titrations begin with on pages, mol/L. 0: none."`
	Stocks        []string         `json:"stocks,omitempty" doc:"Ids of the label papers that pages offer. Empty: all."`
	MakerAddress  string           `json:"maker_address,omitempty" doc:"The maker's postal address on bottles."`
	PublicAddress string           `json:"public_address,omitempty" example:"https://example.org/vinegar" doc:"Where published pages of bottles are found. Empty: nowhere."`
}

// Kitchen is the settings with the address that the station set.
type Kitchen struct {
	KitchenSettings
	Address string `json:"address,omitempty"`
}

func (a *API) registerKitchen(h huma.API) {
	huma.Register(h, get("/kitchen", "get-kitchen", "kitchen", "The kitchen's settings", ""), a.kitchen)
	huma.Register(h, route(http.MethodPut, "/kitchen", "set-kitchen", "kitchen", "Set the kitchen's settings",
		"Replaces them all. Sending it twice does the same as once, so it needs no key.", http.StatusOK,
		http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType), a.setKitchen)
	huma.Register(h, get("/check", "check-records", "kitchen", "Check the records",
		"Verifies the file and derives every jar's state afresh from its log. It changes nothing; findings is empty when all is well."), a.check)
	huma.Register(h, get("/problems/{kind}", "explain-problem", "kitchen", "What a type of problem means",
		"The type of every problem leads here.", http.StatusNotFound), a.explain)
}

func (a *API) kitchen(ctx context.Context, _ *struct{}) (*answer[Kitchen], error) {
	k, err := a.DB.Kitchen(ctx)
	return &answer[Kitchen]{Kitchen{KitchenSettings{k.Name, k.MakerLine, k.TimeZone, k.USUnits, k.Market, k.BaseMaxAgeDays, k.CalibrationMaxAgeHours,
		k.Instruments, k.Places, k.BaseName, k.BaseMolPerL, k.Stocks, k.MakerAddress, k.PublicAddress}, k.Address}}, err
}

func (a *API) setKitchen(ctx context.Context, in *struct{ Body KitchenSettings }) (*answer[Kitchen], error) {
	market, err := verdict.ParseMarket(in.Body.Market)
	if err != nil {
		return nil, err
	}
	b := in.Body // how it is reached is the station's to set
	err = a.DB.ChangeKitchen(ctx, func(k *larder.Kitchen) error {
		k.Name, k.MakerLine, k.TimeZone, k.USUnits, k.Market = b.Name, b.MakerLine, b.TimeZone, b.USUnits, string(market)
		k.BaseMaxAgeDays, k.CalibrationMaxAgeHours = b.BaseMaxAgeDays, b.CalibrationMaxAgeHours
		k.Instruments, k.Places, k.BaseName, k.BaseMolPerL, k.Stocks = b.Instruments, b.Places, b.BaseName, b.BaseMolPerL, b.Stocks
		k.MakerAddress, k.PublicAddress = b.MakerAddress, b.PublicAddress
		return nil
	})
	if err != nil {
		return nil, err
	}
	return a.kitchen(ctx, nil)
}

func (a *API) check(ctx context.Context, _ *struct{}) (*answer[store.Report], error) {
	r, err := a.DB.Check(ctx)
	return &answer[store.Report]{r}, err
}

func (a *API) explain(_ context.Context, in *struct {
	Kind web.Kind `path:"kind" example:"invalid-input" doc:"The last part of the problem's type."`
}) (*answer[ProblemType], error) {
	for _, k := range kinds {
		if k.kind == in.Kind {
			return &answer[ProblemType]{ProblemType{at("/problems/%s", k.kind), k.title, k.status, k.meaning}}, nil
		}
	}
	return nil, problemOf(unknownPath, "", nil)
}
