// Package units knows the quantities of a farm: which unit measures what, how one becomes another without drift, and
// how a number is written down.
//
// A quantity in a record is a double and a UCUM code ({"value": 12.5, "unit": "kg"}). It is kept as given, for ever.
// Sums are another matter: doubles that are added in another order give another sum, and a read model that is folded
// twice must give the same bytes twice. So every quantity is first turned into a whole number of a small unit of its
// dimension, the base:
//
//	mg, err := units.Base(12.5, "[lb_av]") // 5669905, milligrams
//
// The double is read as the decimal that its shortest text shows (0.1 is one tenth, not the binary fraction beside it),
// multiplied by the exact factor as a fraction of whole numbers, and rounded once, half to even. Whole numbers are then
// added, compared and shared out (ShareOut) exactly. FromBase goes the other way, for people; Convert goes from unit to
// unit with one rounding, to the nearest double.
//
// # Bases
//
//	Mass             mg        MassPerArea       mg/har     (milligrams a hectare)
//	Volume           mL        VolumePerArea     uL/har     (microlitres a hectare)
//	Area             mm2       MassPerVolume     ug/L       (the same number as mg/m3)
//	Length           um        VolumePerVolume   uL/L       (the same number as mL/m3)
//	Temperature      mdegC     MassPerMass       ng/kg
//	Speed            mm/s      Flow              uL/min
//	Share            m%        Irradiance        mW/m2
//	Angle            mdeg      RadiantExposure   J/m2
//	Duration         ms        Pressure          Pa
//	AbsorbedDose     mGy
//
// Length is in micrometres, not millimetres, because rain is a length: the 0.2 mm of one tip of a gauge would round to
// nothing. Every base reaches further than any farm within 2^53-1, the largest whole number that a double holds without
// a gap; a value beyond that is refused (ErrRange).
//
// # Where the trade and UCUM differ
//
// Codes are UCUM's, case-sensitive; two meanings are the trade's, and they are the ones people mean:
//
//   - [acr_us] is the acre of 43,560 international square feet, 0.40468564224 ha exactly. UCUM derives it from the US
//     survey foot, which is longer by 2 parts in a million and was retired at the end of 2022.
//   - [in_i'Hg] is the conventional inch of mercury, 13,595.1 kg/m3 at standard gravity, 3386.388640341 Pa. UCUM rounds
//     the metre of mercury to 133.3220 kPa, which is lower by 3 parts in a million.
//
// UCUM's side of the two is from memory. Feet ([ft_i], [sft_i]) are international, as in UCUM.
//
// # Numbers
//
// FormatNumber and AppendNumber write a double as ECMAScript does, which is what canonical JSON (RFC 8785) asks for.
// The ledger has no other formatter of numbers.
package units
