package rpc

import (
	stillroomv1 "stillroom/proto/stillroom/v1"

	"stillroom/internal/canning"
	"stillroom/internal/reference"
)

// The enums of the contract beside the words of the canning room, in the order of the contract.
var (
	jarSizes = map[stillroomv1.JarSize]canning.JarSize{
		stillroomv1.JarSize_JAR_SIZE_HALF_PINT:          canning.HalfPint,
		stillroomv1.JarSize_JAR_SIZE_PINT:               canning.Pint,
		stillroomv1.JarSize_JAR_SIZE_QUART:              canning.Quart,
		stillroomv1.JarSize_JAR_SIZE_ML_250:             canning.ML250,
		stillroomv1.JarSize_JAR_SIZE_ML_500:             canning.ML500,
		stillroomv1.JarSize_JAR_SIZE_L_1:                canning.L1,
		stillroomv1.JarSize_JAR_SIZE_TWELVE_OUNCE:       canning.TwelveOunce,
		stillroomv1.JarSize_JAR_SIZE_HALF_GALLON:        canning.HalfGallon,
		stillroomv1.JarSize_JAR_SIZE_FOUR_OUNCE:         canning.FourOunce,
		stillroomv1.JarSize_JAR_SIZE_ONE_AND_HALF_PINT:  canning.OneAndHalfPint,
		stillroomv1.JarSize_JAR_SIZE_TWENTY_FOUR_OUNCE:  canning.TwentyFourOunce,
		stillroomv1.JarSize_JAR_SIZE_TWENTY_EIGHT_OUNCE: canning.TwentyEightOz,
	}
	processMethods = map[stillroomv1.ProcessMethod]canning.Method{
		stillroomv1.ProcessMethod_PROCESS_METHOD_BOILING_WATER:     canning.BoilingWater,
		stillroomv1.ProcessMethod_PROCESS_METHOD_ATMOSPHERIC_STEAM: canning.AtmosphericSteam,
		stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_DIAL:     canning.PressureDial,
		stillroomv1.ProcessMethod_PROCESS_METHOD_PRESSURE_WEIGHTED: canning.PressureWeighted,
	}
	packs = map[stillroomv1.Pack]reference.Pack{
		stillroomv1.Pack_PACK_HOT: reference.HotPack,
		stillroomv1.Pack_PACK_RAW: reference.RawPack,
	}

	jarSizeOf       = inverse(jarSizes)
	processMethodOf = inverse(processMethods)
	packOf          = inverse(packs)
)

func inverse[A, B comparable](m map[A]B) map[B]A {
	out := make(map[B]A, len(m))
	for a, b := range m {
		out[b] = a
	}
	return out
}

// decodeJarSize reads a jar size; an unspecified one is the empty size.
func decodeJarSize(j stillroomv1.JarSize) canning.JarSize { return jarSizes[j] }

func encodeJarSize(j canning.JarSize) stillroomv1.JarSize { return jarSizeOf[j] }

// decodeMethod reads a method; an unspecified one is the empty method.
func decodeMethod(m stillroomv1.ProcessMethod) canning.Method { return processMethods[m] }

func encodeMethod(m canning.Method) stillroomv1.ProcessMethod { return processMethodOf[m] }

// decodePack reads a pack; an unspecified one is the empty pack.
func decodePack(p stillroomv1.Pack) reference.Pack { return packs[p] }

func encodePack(p reference.Pack) stillroomv1.Pack { return packOf[p] }

func encodeSource(s reference.Source) *stillroomv1.Source {
	return &stillroomv1.Source{Publication: s.Publication, Locator: s.Locator}
}
