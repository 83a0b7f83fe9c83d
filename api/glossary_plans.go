package api

// What the fields of plans and of today's list mean.
func init() {
	for field, w := range map[string]word{
		"tasks":             {"What to do, the most urgent first.", nil},
		"live_count":        {"How many jars stand on the shelf.", 12},
		"held_count":        {"How many of them are on hold.", 0},
		"rule":              {"The plan's days in words.", "between day 7 and 14 of the batch"},
		"Task.reason":       {"Why, in words.", "alcoholic for 12 days; strain between day 7 and 14 of the batch: spent fruit gives nothing more and spoils"},
		"Task.jar":          {"The jar's tag. Left out: the bench wants it.", nil},
		"Task.what":         {"What to do.", "strain"},
		"Task.from":         {"Noon of the first day on which it is due, in the kitchen.", nil},
		"Task.until":        {"Noon of the last day; after it, it is overdue.", nil},
		"batch_name":        {"The batch's name.", "Pear trimmings"},
		"plans":             {"The plan of each kind of batch, and the kitchen's own.", nil},
		"Plan.kind":         {"The kind of batch, or kitchen.", nil},
		"steps":             {"The steps, in the order of the work.", nil},
		"PlanChanges.steps": {"The steps that differ from the usual plan.", nil},
		"PlanChange.id":     {"The step's id, as the plan lists it.", "acetic/titrate"},
		"PlanStep.id":       {"The step's id: its stage and what is done.", "acetic/titrate"},
		"PlanStep.what":     {"What to do.", "titrate"},
		"counted":           {"What the days count from, in words.", "of the batch"},
		"repeats":           {"It is asked for again after every_days.", nil},
		"days":              {"The days in force.", nil},
		"usual":             {"The usual days.", nil},
		"changed":           {"The days in force are not the usual ones.", nil},
		"from_days":         {"The day from which it is due; day 0 is the day that days are counted from.", 7},
		"until_days":        {"The day after which it is overdue.", 14},
		"every_days":        {"Asked for again so many days after it was done. 0 or left out: once.", 7},
		"off":               {"It is never asked for.", nil},
	} {
		glossary[field] = w
	}
}
