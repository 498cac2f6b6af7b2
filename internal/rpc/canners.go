package rpc

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/canning"
	"stillroom/internal/kitchen"
	"stillroom/internal/measure"
)

// The enums of equipment beside the words of the canning room.
var (
	materials = map[stillroomv1.Material]canning.Material{
		stillroomv1.Material_MATERIAL_ENAMELLED_STEEL: canning.EnamelledSteel,
		stillroomv1.Material_MATERIAL_STAINLESS_STEEL: canning.StainlessSteel,
		stillroomv1.Material_MATERIAL_ALUMINIUM:       canning.Aluminium,
	}
	heatKinds = map[stillroomv1.HeatKind]canning.BurnerKind{
		stillroomv1.HeatKind_HEAT_KIND_GAS:       canning.GasBurner,
		stillroomv1.HeatKind_HEAT_KIND_ELECTRIC:  canning.ElectricBurner,
		stillroomv1.HeatKind_HEAT_KIND_INDUCTION: canning.InductionBurner,
	}
	materialOf = inverse(materials)
	heatKindOf = inverse(heatKinds)
)

// decodeEquipment reads equipment of a kitchen and checks it.
func decodeEquipment(k, id string, e *stillroomv1.Equipment) (kitchen.Equipment, error) {
	out := kitchen.Equipment{
		ID: id, DisplayName: e.GetDisplayName(), Kind: e.GetKind(), Owned: int(e.GetOwnedCount()), Canner: decodeCanner(e.GetCanner()),
	}
	if e.GetSite() != "" {
		if err := within(k, "equipment.site", e.GetSite(), sitePattern, &out.Site); err != nil {
			return out, err
		}
	}
	return out, prefixed("equipment.", out.Check())
}

func decodeCanner(d *stillroomv1.CannerDetails) *kitchen.Canner {
	if d == nil {
		return nil
	}
	c := &kitchen.Canner{
		ComeUp: kitchen.ComeUpLine{Base: d.GetComeUpBaseMinutes(), PerJar: d.GetComeUpMinutesPerJar()},
		Reset:  measure.Minutes(d.GetResetMinutes()), OwnHeat: d.GetOwnHeat(),
	}
	for _, m := range d.GetMethods() {
		c.Methods = append(c.Methods, decodeMethod(m))
	}
	for _, r := range d.GetCapacities() {
		c.Holds = append(c.Holds, canning.RackSpace{Jar: decodeJarSize(r.GetJarSize()), Jars: int(r.GetJars())})
	}
	if v := d.GetVessel(); v != nil {
		c.Vessel = &canning.Vessel{Litres: v.GetLitres(), DiameterMetres: v.GetDiameterMetres(), Kilograms: v.GetKilograms(), Material: materials[v.GetMaterial()]}
	}
	if h := d.GetHeatSource(); h != nil {
		c.Burner = &canning.Burner{Kind: heatKinds[h.GetKind()], Rated: canning.Watts(h.GetWatts())}
	}
	return c
}

func encodeEquipment(k string, e kitchen.Equipment) *stillroomv1.Equipment {
	out := &stillroomv1.Equipment{
		Name:        nameOf(equipmentPattern, k, e.ID),
		DisplayName: e.DisplayName,
		Kind:        e.Kind,
		OwnedCount:  int32(e.Owned),
		Canner:      encodeCanner(e.Canner),
		CreateTime:  timestamppb.New(e.CreatedAt),
		Etag:        etag(e.Version),
	}
	if e.Site != "" {
		out.Site = nameOf(sitePattern, k, e.Site)
	}
	return out
}

func encodeCanner(c *kitchen.Canner) *stillroomv1.CannerDetails {
	if c == nil {
		return nil
	}
	out := &stillroomv1.CannerDetails{
		ComeUpBaseMinutes: c.ComeUp.Base, ComeUpMinutesPerJar: c.ComeUp.PerJar, ResetMinutes: int32(c.Reset), OwnHeat: c.OwnHeat,
	}
	for _, m := range c.Methods {
		out.Methods = append(out.Methods, encodeMethod(m))
	}
	for _, r := range c.Holds {
		out.Capacities = append(out.Capacities, &stillroomv1.JarCapacity{JarSize: encodeJarSize(r.Jar), Jars: int32(r.Jars)})
	}
	if v := c.Vessel; v != nil {
		out.Vessel = &stillroomv1.Vessel{Litres: v.Litres, DiameterMetres: v.DiameterMetres, Kilograms: v.Kilograms, Material: materialOf[v.Material]}
	}
	if h := c.Burner; h != nil {
		out.HeatSource = &stillroomv1.HeatSource{Kind: heatKindOf[h.Kind], Watts: float64(h.Rated)}
	}
	for _, o := range c.Record {
		out.ComeUps = append(out.ComeUps, encodeComeUp(o))
	}
	return out
}

func decodeComeUp(o *stillroomv1.ComeUp) (kitchen.ComeUp, error) {
	altitude, err := measure.AltitudeFromFloat(o.GetAltitude().GetMetres())
	if err != nil {
		return kitchen.ComeUp{}, measured(err)
	}
	out := kitchen.ComeUp{Observation: canning.Observation{
		Load: canning.HeatLoad{
			Method: decodeMethod(o.GetMethod()), Jar: decodeJarSize(o.GetJarSize()), Pack: decodePack(o.GetPack()),
			Jars: int(o.GetJars()), Altitude: altitude,
		},
		Minutes: o.GetMinutes(),
	}}
	if o.GetObserveTime() != nil {
		out.At = o.GetObserveTime().AsTime()
	}
	return out, nil
}

func encodeComeUp(o kitchen.ComeUp) *stillroomv1.ComeUp {
	load := o.Observation.Load
	return &stillroomv1.ComeUp{
		Method: encodeMethod(load.Method), JarSize: encodeJarSize(load.Jar), Pack: encodePack(load.Pack), Jars: int32(load.Jars),
		Altitude: &stillroomv1.Altitude{Metres: load.Altitude.Metres().Float64()}, Minutes: o.Observation.Minutes,
		ObserveTime: timestamppb.New(o.At),
	}
}
