package rpc

import (
	"strconv"

	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/recipe"
)

// The enums of the contract beside the words of the recipe room.
var (
	roleOf = map[recipe.Role]stillroomv1.IngredientRole{
		recipe.LowAcid:   stillroomv1.IngredientRole_INGREDIENT_ROLE_LOW_ACID_VEGETABLE,
		recipe.Acid:      stillroomv1.IngredientRole_INGREDIENT_ROLE_ACID,
		recipe.Salt:      stillroomv1.IngredientRole_INGREDIENT_ROLE_SALT,
		recipe.Sugar:     stillroomv1.IngredientRole_INGREDIENT_ROLE_SUGAR,
		recipe.FreshHerb: stillroomv1.IngredientRole_INGREDIENT_ROLE_FRESH_HERB,
		recipe.DrySpice:  stillroomv1.IngredientRole_INGREDIENT_ROLE_DRY_SPICE,
		recipe.Thickener: stillroomv1.IngredientRole_INGREDIENT_ROLE_THICKENER,
		recipe.Fruit:     stillroomv1.IngredientRole_INGREDIENT_ROLE_FRUIT,
		recipe.Other:     stillroomv1.IngredientRole_INGREDIENT_ROLE_OTHER,
	}
	varyOf = map[recipe.Variation]stillroomv1.MayVary{
		recipe.Fixed:      stillroomv1.MayVary_MAY_VARY_NO,
		recipe.Free:       stillroomv1.MayVary_MAY_VARY_YES,
		recipe.ReduceOnly: stillroomv1.MayVary_MAY_VARY_REDUCE_ONLY,
		recipe.KindOnly:   stillroomv1.MayVary_MAY_VARY_KIND_ONLY,
		recipe.OmitOK:     stillroomv1.MayVary_MAY_VARY_OMIT_OK,
		recipe.NotStated:  stillroomv1.MayVary_MAY_VARY_NOT_STATED,
	}
	seasonOf = map[recipe.Season]stillroomv1.Season{
		recipe.Spring:    stillroomv1.Season_SEASON_SPRING,
		recipe.Summer:    stillroomv1.Season_SEASON_SUMMER,
		recipe.Autumn:    stillroomv1.Season_SEASON_AUTUMN,
		recipe.Winter:    stillroomv1.Season_SEASON_WINTER,
		recipe.YearRound: stillroomv1.Season_SEASON_YEAR_ROUND,
	}
	changeKindOf = map[recipe.ChangeKind]stillroomv1.ChangeKind{
		recipe.Swap:          stillroomv1.ChangeKind_CHANGE_KIND_SWAP,
		recipe.Omit:          stillroomv1.ChangeKind_CHANGE_KIND_OMIT,
		recipe.Reduce:        stillroomv1.ChangeKind_CHANGE_KIND_REDUCE,
		recipe.Raise:         stillroomv1.ChangeKind_CHANGE_KIND_RAISE,
		recipe.Add:           stillroomv1.ChangeKind_CHANGE_KIND_ADD,
		recipe.Prepare:       stillroomv1.ChangeKind_CHANGE_KIND_PREPARE,
		recipe.JarSize:       stillroomv1.ChangeKind_CHANGE_KIND_JAR_SIZE,
		recipe.Pack:          stillroomv1.ChangeKind_CHANGE_KIND_PACK,
		recipe.BatchFactor:   stillroomv1.ChangeKind_CHANGE_KIND_BATCHES,
		recipe.Headspace:     stillroomv1.ChangeKind_CHANGE_KIND_HEADSPACE,
		recipe.UnsterileJars: stillroomv1.ChangeKind_CHANGE_KIND_UNSTERILE_JARS,
		recipe.Method:        stillroomv1.ChangeKind_CHANGE_KIND_METHOD,
		recipe.AcidShareFall: stillroomv1.ChangeKind_CHANGE_KIND_ACID_SHARE,
		recipe.StepsChanged:  stillroomv1.ChangeKind_CHANGE_KIND_STEPS,
	}
	verdictOf = map[recipe.Verdict]stillroomv1.Verdict{
		recipe.Allowed:        stillroomv1.Verdict_VERDICT_ALLOWED,
		recipe.AllowedToTaste: stillroomv1.Verdict_VERDICT_ALLOWED_TO_TASTE,
		recipe.NotCovered:     stillroomv1.Verdict_VERDICT_NOT_COVERED,
		recipe.Forbidden:      stillroomv1.Verdict_VERDICT_FORBIDDEN,
	}
	consequenceOf = map[recipe.Consequence]stillroomv1.Consequence{
		recipe.ShelfStableStill: stillroomv1.Consequence_CONSEQUENCE_SHELF_STABLE,
		recipe.AnotherProcess:   stillroomv1.Consequence_CONSEQUENCE_ANOTHER_PROCESS,
		recipe.ColdOnly:         stillroomv1.Consequence_CONSEQUENCE_REFRIGERATE_OR_FREEZE,
	}

	roles       = inverse(roleOf)
	seasons     = inverse(seasonOf)
	changeKinds = inverse(changeKindOf)
)

func decodeFilter(m *stillroomv1.RecipeFilter) recipe.Filter {
	f := recipe.Filter{
		Ingredients: m.GetIngredients(), Season: seasons[m.GetSeason()], Jar: decodeJarSize(m.GetJarSize()), Text: m.GetText(),
	}
	for _, method := range m.GetMethods() {
		f.Methods = append(f.Methods, decodeMethod(method))
	}
	return f
}

func decodeChanges(ms []*stillroomv1.Change) []recipe.Change {
	all := make([]recipe.Change, len(ms))
	for i, m := range ms {
		all[i] = recipe.Change{
			Kind: changeKinds[m.GetKind()], Line: m.GetLineId(), Ingredient: m.GetIngredient(), Amount: m.GetAmount(),
			Preparation: m.GetPreparation(), To: m.GetTo(),
		}
	}
	return all
}

// decodeFormula reads a formula; prefix leads the field names of its faults.
func decodeFormula(prefix string, m *stillroomv1.Formula) (*recipe.Revision, error) {
	d := recipe.Draft{
		Key: m.GetKey(), Title: m.GetTitle(), Source: m.GetSource().GetPublication(), Locator: m.GetSource().GetLocator(),
		AttestedBy: m.GetAttestedBy(), ProcessKey: m.GetProcessKey(), Pack: string(decodePack(m.GetPack())), Headspace: inches(m.GetHeadspaceInches()),
		SterileJars: m.GetSterileJars(), Method: m.GetOtherMethod(), Notes: m.GetNotes(),
		YieldText: m.GetYield().GetText(), Jar: string(decodeJarSize(m.GetYield().GetJarSize())),
		JarsMin: int(m.GetYield().GetJarsMin()), JarsMax: int(m.GetYield().GetJarsMax()),
	}
	if m.GetBasedOn() != "" {
		if err := parseName(prefix+"based_on", m.GetBasedOn(), publishedPattern, &d.BasedOn); err != nil {
			return nil, err
		}
	}
	for _, l := range m.GetIngredientLines() {
		d.Lines = append(d.Lines, recipe.DraftLine{
			ID: l.GetLineId(), Name: l.GetIngredient(), Amount: l.GetAmount(), PerJar: string(decodeJarSize(l.GetPerJar())),
			Preparation: l.GetPreparation(), Role: string(roles[l.GetRole()]), Note: l.GetNote(), Optional: l.GetOptional(),
		})
	}
	for _, st := range m.GetSteps() {
		step := recipe.DraftStep{Action: st.GetAction(), Text: st.GetText()}
		if st.GetMinutesMax() > 0 {
			step.Minutes = strconv.FormatFloat(st.GetMinutesMin(), 'f', -1, 64) + " to " + strconv.FormatFloat(st.GetMinutesMax(), 'f', -1, 64)
		}
		d.Steps = append(d.Steps, step)
	}
	r, err := d.Revision()
	if err != nil {
		return nil, formulaFields(prefix, err)
	}
	return r, nil
}

func encodePublished(r *recipe.Revision) *stillroomv1.PublishedRecipe {
	return &stillroomv1.PublishedRecipe{Name: nameOf(publishedPattern, r.Key), Formula: encodeFormula(r)}
}

func encodeRecipe(k string, r recipe.Recipe) *stillroomv1.Recipe {
	out := &stillroomv1.Recipe{
		Name: nameOf(recipePattern, k, r.ID), Title: r.Title, LatestRevision: encodeKept(k, r.Latest),
		CreateTime: timestamppb.New(r.CreatedAt), Etag: etag(r.Version),
	}
	if r.PublishedKey != "" {
		out.PublishedRecipe = nameOf(publishedPattern, r.PublishedKey)
	}
	return out
}

func encodeKept(k string, r recipe.Kept) *stillroomv1.RecipeRevision {
	out := &stillroomv1.RecipeRevision{
		Name: nameOf(revisionPattern, k, r.Recipe, strconv.Itoa(r.Number)), Number: int32(r.Number),
		Formula: encodeFormula(r.Revision), Review: encodeReview(r.Review), CreateTime: timestamppb.New(r.CreatedAt),
	}
	// What was found when the revision was kept is what loads go by.
	out.Formula.NotForLoadReason = r.NotForLoad
	return out
}

func encodeFormula(r *recipe.Revision) *stillroomv1.Formula {
	stable, why := recipe.ShelfStable(r)
	out := &stillroomv1.Formula{
		Key: r.Key, Title: r.Title, AttestedBy: r.Attested.By,
		Yield: &stillroomv1.BatchYield{Text: r.Yield.Text, JarSize: encodeJarSize(r.Yield.Jar), JarsMin: int32(r.Yield.JarsMin), JarsMax: int32(r.Yield.JarsMax)},
		Pack:  encodePack(r.Pack), HeadspaceInches: float64(r.Headspace), SterileJars: r.SterileJars, ProcessKey: r.ProcessKey,
		OtherMethod: r.Method, Notes: r.Notes, ShelfStable: stable, ShelfReason: why, NotForLoadReason: recipe.LoadRefusal(r),
	}
	if r.Source.Publication != "" {
		out.Source = &stillroomv1.Source{Publication: r.Source.Publication, Locator: r.Source.Locator}
	}
	if r.BasedOn != "" {
		out.BasedOn = nameOf(publishedPattern, r.BasedOn)
	}
	for _, l := range r.Lines {
		out.IngredientLines = append(out.IngredientLines, encodeLine(l, r.Yield))
	}
	for _, st := range r.Steps {
		out.Steps = append(out.Steps, &stillroomv1.RecipeStep{
			Action: st.Action, Text: st.Text, MinutesMin: st.MinutesMin, MinutesMax: st.MinutesMax, Burner: st.Burner, Hands: int32(st.Hands),
		})
	}
	for _, n := range recipe.Equipment(r) {
		out.EquipmentNeeds = append(out.EquipmentNeeds, &stillroomv1.EquipmentNeed{Item: n.Item, Count: int32(n.Count), Basis: n.Basis})
	}
	for _, s := range recipe.Seasons(r) {
		out.Seasons = append(out.Seasons, seasonOf[s])
	}
	for _, m := range recipe.Methods(r) {
		out.Methods = append(out.Methods, encodeMethod(m))
	}
	for _, j := range recipe.Jars(r) {
		out.JarSizes = append(out.JarSizes, encodeJarSize(j))
	}
	return out
}

func encodeLine(l recipe.Line, y recipe.Yield) *stillroomv1.IngredientLine {
	out := &stillroomv1.IngredientLine{
		LineId: l.ID, Ingredient: l.Ingredient.Name, Amount: recipe.AmountText(l.Amount), PerJar: encodeJarSize(l.PerJar),
		Preparation: l.Preparation, Role: roleOf[l.Role], Optional: l.Optional, Note: l.Note,
		AmountMin: l.Amount.Amount.Low.Float64(), AmountMax: l.Amount.Amount.High.Float64(), Unit: string(l.Amount.Unit),
		Item: l.Ingredient.Item, IngredientKey: l.Ingredient.Key, KeyBasis: string(l.Ingredient.Basis),
		MayVary: varyOf[l.Vary], VaryBy: l.VaryBy,
	}
	if w := recipe.WeightOf(l, y); w.Known {
		out.Grams = w.Grams.Float64()
	}
	return out
}

func encodeReview(rv recipe.Review) *stillroomv1.Review {
	out := &stillroomv1.Review{
		Verdict: verdictOf[rv.Verdict], Consequence: consequenceOf[rv.Consequence],
		AcidShareBefore: encodeShare(rv.AcidBefore), AcidShareAfter: encodeShare(rv.AcidAfter),
		SaltBefore: encodeSum(rv.SaltBefore), SaltAfter: encodeSum(rv.SaltAfter),
		SugarBefore: encodeSum(rv.SugarBefore), SugarAfter: encodeSum(rv.SugarAfter), Notes: rv.Notes,
	}
	for _, f := range rv.Findings {
		finding := &stillroomv1.ReviewFinding{
			Kind: changeKindOf[f.Kind], LineId: f.LineID, Change: f.Change, Verdict: verdictOf[f.Verdict], Consequence: consequenceOf[f.Consequence],
			Because: f.Because, WayOut: f.WayOut, ProcessKey: f.ProcessKey,
		}
		for _, c := range f.Citations {
			finding.Citations = append(finding.Citations, &stillroomv1.Citation{
				FactKey: c.Key, Statement: c.Statement, Source: &stillroomv1.Source{Publication: c.Source, Locator: c.Locator},
			})
		}
		out.Findings = append(out.Findings, finding)
	}
	return out
}

func encodeShare(s recipe.Share) *stillroomv1.AcidShare {
	return &stillroomv1.AcidShare{
		Known: s.Known(), Share: s.Value(), AcidGrams: s.AcidGrams.Float64(), LowAcidGrams: s.LowAcidGrams.Float64(), UnweighedLineIds: s.Unweighed,
	}
}

func encodeSum(s recipe.Sum) *stillroomv1.IngredientSum {
	return &stillroomv1.IngredientSum{Grams: s.Grams.Float64(), UnweighedLineIds: s.Unweighed}
}
