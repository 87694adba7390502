//! The list of sources. One constant each, ordered by subject.

use super::{Mark, Source};

/// Angles of the eye.
pub const ISO_8429: Source = Source {
    short: "ISO 8429",
    full: "ISO 8429:1986, Optics and optical instruments - Ophthalmology - Graduated dial scale",
    place: "scan of the standard: zero at the viewer's right, anticlockwise, both eyes alike",
    mark: Mark::Read,
};

/// Constant of ophthalmometers.
pub const ISO_10343: Source = Source {
    short: "ISO 10343",
    full: "ISO 10343:2014, Ophthalmic instruments - Ophthalmometers",
    place: "excerpt: constant 337.5",
    mark: Mark::Read,
};

/// Power vectors.
pub const THIBOS_1997: Source = Source {
    short: "Thibos 1997",
    full: "Thibos LN, Wheeler W, Horner D. Power vectors. Optom Vis Sci 1997;74:367-375",
    place: "abstract",
    mark: Mark::Read,
};

/// Exact vergence of a toric lens in two meridians.
pub const FAM_LIM_2007: Source = Source {
    short: "Fam & Lim 2007",
    full: "Fam HB, Lim KL. Meridional analysis for calculating the expected spherocylindrical refraction in eyes with toric intraocular lenses. J Cataract Refract Surg 2007;33:2072-2076",
    place: "the four steps of the meridional method",
    mark: Mark::Read,
};

/// Posterior cornea by class of astigmatism.
pub const EOM_2015: Source = Source {
    short: "Eom 2015",
    full: "Eom Y et al. Am J Ophthalmol 2015",
    place: "abstract: WTR 0.15 C + 0.22, oblique 0.05 C + 0.27, ATR 0.27 D subtracted at 90; class limits not read (30 degrees assumed)",
    mark: Mark::Read,
};

/// Width of the band over which the classes of Eom 2015 are blended.
pub const EOM_BLEND: Source = Source {
    short: "blend of +-5 degrees",
    full: "linear blend of the class formulas over 5 degrees on either side of a class limit",
    place: "ours: removes a jump of up to 0.1 D",
    mark: Mark::Assumed,
};

/// Posterior cornea as one constant.
pub const POSTERIOR_CONSTANT: Source = Source {
    short: "posterior cornea 0.25 D at 7",
    full: "137 eyes measured by Scheimpflug tomography: total minus simulated keratometry 0.25 D at 7 degrees; author and title were not noted",
    place: "abstract; that it is applied at 180 is our assumption, since the 7 degrees are not known to be mirrored between eyes",
    mark: Mark::Read,
};

/// Power formula.
pub const HAIGIS_2000: Source = Source {
    short: "Haigis 2000",
    full: "Haigis W, Lege B, Miller N, Schneider B. Graefes Arch Clin Exp Ophthalmol 2000;238:765-773",
    place: "the author's formula notes of 1998: index 1.3315, vertex 12 mm, d = a0 + a1 ACD + a2 AL; the mean of the radii from secondary texts, the citation of the paper from memory",
    mark: Mark::Read,
};

/// Vergence of two thin lenses.
pub const GERNET_1970: Source = Source {
    short: "thin-lens vergence",
    full: "Gernet H, Ostholt H, Werner H 1970, as cited by Haigis's formula notes of 1998",
    place: "P = n/(L-d) - n/(n/z-d), in those notes only",
    mark: Mark::Secondary,
};

/// Which formulas a guideline names by axial length.
pub const GUIDELINE_2017: Source = Source {
    short: "guideline NG77",
    full: "National Institute for Health and Care Excellence. Cataracts in adults: management. NG77, 2017",
    place: "paragraph on formulas by axial length, from memory; of those named, the ones computed here",
    mark: Mark::FromMemory,
};

/// Corneal incisions: the sign and resolution of their effect.
pub const NAESER_1994: Source = Source {
    short: "Naeser 1994",
    full: "Naeser K, Behrens JK, Naeser EV. J Cataract Refract Surg 1994;20:162",
    place: "abstract: polar value at a meridian",
    mark: Mark::Read,
};

/// Rotation of a toric lens.
pub const WILLIAMS_1993: Source = Source {
    short: "Williams 1993",
    full: "Williams 1993, table of residual cylinder by mislocation, IACLE module 3 appendix B",
    place: "whole table",
    mark: Mark::Read,
};

/// Whole eyes and toric surfaces as matrices.
pub const LONG_1976: Source = Source {
    short: "Long 1976",
    full: "Long WF. A matrix formalism for decentration problems. Am J Optom Physiol Opt 1976;53:27-33",
    place: "abstract: reproduces Thompson's formulas for crossed cylinders; volume and pages from memory",
    mark: Mark::Read,
};

/// The cornea of two surfaces.
pub const GULLSTRAND: Source = Source {
    short: "Gullstrand",
    full: "Gullstrand's schematic cornea: radii 7.7 and 6.8 mm, 0.5 mm thick, indices 1.376 and 1.336",
    place: "handbook values 48.83, -5.88, 43.05 D from memory; the same by computation",
    mark: Mark::FromMemory,
};

/// Posterior cornea by factors.
pub const GOGGIN_2015: Source = Source {
    short: "Goggin 2015",
    full: "Goggin M, Zamora-Alejo K, Esterman A, van Zyl L. J Refract Surg 2015;31:98",
    place: "abstract: 0.75 with the rule, 1.41 against the rule, lens cylinder up to 2.0 D; volume, page and two of the authors from memory",
    mark: Mark::Read,
};

/// Posterior cornea by regression.
pub const ABULAFIA_KOCH_2016: Source = Source {
    short: "Abulafia 2016",
    full: "Abulafia A, Koch DD, Wang L et al. J Cataract Refract Surg 2016;42:663",
    place: "coefficients not compared with the paper",
    mark: Mark::FromMemory,
};

/// Power formula.
pub const HOLLADAY_1988: Source = Source {
    short: "Holladay 1988",
    full: "Holladay JT, Prager TC, Chandler TY, Musgrove KH, Lewis JW, Ruiz RS. J Cataract Refract Surg 1988;14:17-24",
    place: "index, retinal thickness and conversion from secondary texts; 0.56, 12.5/23.45 and the caps 13.5 and 7 from memory",
    mark: Mark::FromMemory,
};

/// Power formula.
pub const HOFFER_1993: Source = Source {
    short: "Hoffer 1993",
    full: "Hoffer KJ. J Cataract Refract Surg 1993;19:700-712; erratum 1994;20:677",
    place: "structure from secondary texts; numbers from memory",
    mark: Mark::FromMemory,
};

/// Power formula.
pub const RETZLAFF_1990: Source = Source {
    short: "Retzlaff 1990",
    full: "Retzlaff JA, Sanders DR, Kraff MC. J Cataract Refract Surg 1990;16:333-340; erratum 1990;16:528",
    place: "all coefficients from secondary texts; of two printings of one digit the continuous one (1.716); the citations of paper and erratum from memory",
    mark: Mark::Secondary,
};

/// Power formula.
pub const SHEARD_2010: Source = Source {
    short: "Sheard 2010",
    full: "Sheard RM, Smith GT, Cooke DL. J Cataract Refract Surg 2010;36:1829",
    place: "the authors' summary for the structure and the constant; the three numbers from memory",
    mark: Mark::FromMemory,
};

/// Power of a lens added to an eye.
pub const VAN_DER_HEIJDE_1988: Source = Source {
    short: "van der Heijde 1988",
    full: "van der Heijde GL 1976 and 1988; Holladay JT. Am J Ophthalmol 1993;116:63",
    place: "form from memory; the two forms agree to 1e-14",
    mark: Mark::FromMemory,
};

/// Loss by rotation.
pub const SWAMI_2002: Source = Source {
    short: "Swami 2002",
    full: "Swami AU, Steinert RF et al. Am J Ophthalmol 2002;133:561",
    place: "4 degrees 14 %, 10 degrees 35 % under-correction; volume and page from memory",
    mark: Mark::Read,
};

/// Loss at the meridian by rotation.
pub const SHEN_2010: Source = Source {
    short: "Shen 2010",
    full: "Shen EP et al. J Cataract Refract Surg 2010;36:431",
    place: "more than 6 % lost beyond 10 degrees; volume and page from memory",
    mark: Mark::Read,
};

/// Rotation at which a lens has no effect.
pub const FELIPE_2011: Source = Source {
    short: "Felipe 2011",
    full: "Felipe A, Artigas JM, Diez-Ajenjo A, Garcia-Domene C, Alcocer P. J Cataract Refract Surg 2011",
    place: "cos(pi + 2b) = r/2; their angle is measured the other way",
    mark: Mark::Read,
};

/// Turning a toric lens that is in the eye.
pub const BERDAHL_2012: Source = Source {
    short: "Berdahl 2012",
    full: "Berdahl JP, Hardten DR. J Cataract Refract Surg 2012",
    place: "the concept, from memory; the rule is exact for a thin cornea and a thin lens",
    mark: Mark::FromMemory,
};

/// Scatter of an axis.
pub const AXIS_FROM_VECTOR: Source = Source {
    short: "axis from a vector",
    full: "standard deviation of an axis = s / (2 C) radians, s that of one component of a vector of size C",
    place: "computed: derivative of the half angle; holds while s is small beside C",
    mark: Mark::Computed,
};

/// Tilt of a lens.
pub const WEIKERT_2018: Source = Source {
    short: "Weikert 2018",
    full: "Weikert MP, Golla A, Wang L. J Cataract Refract Surg 2018;44:745",
    place: "abstract: 0.08, 0.11, 0.14 D for 16, 22, 28 D tilted by 5 degrees, by ray tracing; no formula was read",
    mark: Mark::Read,
};

/// Counter-rolling of the eye.
pub const COLLEWIJN_1985: Source = Source {
    short: "Collewijn 1985",
    full: "Collewijn H et al. Exp Brain Res 1985;59:185",
    place: "abstract: static gain about 10 % to 20 degrees",
    mark: Mark::Read,
};

/// How far an eye turns when its owner lies down.
pub const CYCLOTORSION: Source = Source {
    short: "cyclotorsion",
    full: "turn of the eye from sitting to lying: Sci Rep 2020, 107 eyes, -11 to 12 degrees; a series of 85 eyes, -14 to 12; Swami 2002, 240 eyes, 8 % above 10",
    place: "abstracts; 12 degrees as the limit is our proposal",
    mark: Mark::Assumed,
};

/// How long marks on the eye last.
pub const MARK_AGE: Source = Source {
    short: "age of marks",
    full: "ink is used soon after it was made; marks made in the surface by heat or light are used within 8 hours",
    place: "common practice, no published source found; the hours for ink are our proposal",
    mark: Mark::CommonPractice,
};

/// How an eye looks from the seats in theatre.
pub const VIEW_GEOMETRY: Source = Source {
    short: "view geometry",
    full: "plane geometry of an eye seen from the front, from the head and from the temple",
    place: "computed; checked by vectors",
    mark: Mark::Computed,
};

/// Standard deviations of the parts of a residual.
pub const ERROR_BUDGET: Source = Source {
    short: "error budget",
    full: "our assumptions, anchored on Gjerdrum 2020 (repeatability of keratometry), Popp 2012 and Cha 2011 (marking), Hirnschall, J Refract Surg 2020;36:646 (shares) and others",
    place: "abstracts; each value is a setting of the site, to be replaced by its own results",
    mark: Mark::Assumed,
};

/// How keratometry of several sources is weighed.
pub const KERATOMETRY_WEIGHTS: Source = Source {
    short: "weights of sources",
    full: "mean of the sources weighed by the inverse of their covariance (least squares); the covariance of a source is the budget's, or that of its own readings where it is greater, never smaller",
    place: "computed; that repeats of one examination share its tear film and alignment, so that many or even ones make no source surer than the budget, is our assumption",
    mark: Mark::Assumed,
};

/// Factor on the error budget.
pub const ERROR_BUDGET_FACTOR: Source = Source {
    short: "budget factor 0.8",
    full: "factor with which the error budget reproduces a published cohort (Savini 2017: 57.8 % of eyes within 0.5 D)",
    place: "abstract for the cohort; the factor is ours",
    mark: Mark::Assumed,
};

/// Chances from the radial characteristic function.
pub const BESSEL_ADDITION: Source = Source {
    short: "radial characteristic function",
    full: "Hankel transform with Neumann's and Graf's addition theorem, DLMF 10.23(ii)",
    place: "from memory; checked by integration in two dimensions and by noncentral chi-square quantiles",
    mark: Mark::Computed,
};

/// Mod-11 check digit of ten-digit patient numbers.
pub const MOD11: Source = Source {
    short: "mod-11 rule",
    full: "NHS Data Dictionary, check digit of the ten-digit patient number",
    place: "its text as quoted in the documentation of a software package: weights 10 to 2, 11 minus the remainder, 11 -> 0, 10 invalid",
    mark: Mark::Secondary,
};

/// Agreement of keratometers as a vector difference.
pub const AGREEMENT: Source = Source {
    short: "vector agreement",
    full: "Roh et al., Medicine 2015;94:e677 (vector difference 0.43 +- 0.37 D, 207 eyes); J Clin Med 2022;11:6921 (over 0.5 D apart in 17 %)",
    place: "abstracts; the limit of 0.50 D is our proposal",
    mark: Mark::Assumed,
};

/// Validity limits of biometry.
pub const BIOMETRY_LIMITS: Source = Source {
    short: "biometry limits of 2010",
    full: "limits in the manner of the 2010 College guideline: lengths 21.2 and 26.6 mm, mean keratometry 41 and 47 D, cylinder 2.5 D, the eyes 0.7 mm and 0.9 D apart",
    place: "quoted on a clinical-notes page; the guideline itself was not read",
    mark: Mark::Secondary,
};

/// The first screening limits of biometry.
pub const SCREENING_1988: Source = Source {
    short: "screening of 1988",
    full: "Holladay JT et al. J Cataract Refract Surg 1988;14:17-24: lengths 22 and 25 mm, the eyes 0.3 mm apart",
    place: "abstract for there being such limits; the numbers from memory",
    mark: Mark::FromMemory,
};

/// How long a measurement stays good.
pub const MEASUREMENT_AGE: Source = Source {
    short: "age of biometry",
    full: "Rufai et al. Semin Ophthalmol 2020;35:343 (no significant change up to 12 months, repeat advised after 24) and PMID 36700942 (201 patients, mean change of axial length 0.04 mm, of keratometry 0.01 D)",
    place: "abstracts, about spherical lenses; 180, 365 and 730 days for astigmatism are our proposal",
    mark: Mark::Assumed,
};

/// How little an eye changes between two visits.
pub const EARLIER_VISIT: Source = Source {
    short: "earlier visit",
    full: "PMID 36700942: 201 patients measured again after 1 to 2 years, mean change of axial length 0.04 mm, of keratometry 0.01 D",
    place: "abstract; the limits 0.3 mm and 1.0 D were tried on simulated patients (found: 98 % of other persons)",
    mark: Mark::Assumed,
};

/// How far the axis of a small astigmatism scatters.
pub const AXIS_SCATTER: Source = Source {
    short: "axis scatter",
    full: "with 0.30 D standard deviation per component the axes of two readings of 0.75 D differ by 11.5 degrees (one standard deviation)",
    place: "computed; the limit 0.75 D is our proposal",
    mark: Mark::Assumed,
};

/// Agreement of axial lengths.
pub const LENGTH_AGREEMENT: Source = Source {
    short: "agreement of lengths",
    full: "PMC7775111: axial lengths of two optical biometers, 175 eyes, limits of agreement -0.15 to 0.21 mm",
    place: "abstract for the agreement; the limits 0.20 and 0.40 mm are our proposal",
    mark: Mark::Assumed,
};

/// Difference of the axial lengths of two eyes by the length of the longer one.
pub const LENGTH_BETWEEN_EYES: Source = Source {
    short: "lengths of two eyes",
    full: "J Cataract Refract Surg 2008, interocular axial length difference, 1379 patients, PMID 18165085",
    place: "abstract: 95th centile 0.5 mm when the longer eye has at most 22 mm, 4.0 mm from 28 mm on; that a centile is a limit is our proposal",
    mark: Mark::Assumed,
};

/// What no sound eye shows.
pub const IMPOSSIBLE: Source = Source {
    short: "impossible values",
    full: "limits beyond published distributions (23,239 eyes: axial length 23.45 +- 1.51 mm, radius 7.69 +- 0.28 mm)",
    place: "our proposal",
    mark: Mark::Assumed,
};

/// At least three readings, each meridian within 0.30 D.
pub const THREE_READINGS: Source = Source {
    short: "three readings",
    full: "textbook chapter on keratometry: at least three readings, each meridian within 0.30 D; author and title were not noted",
    place: "chapter 9",
    mark: Mark::Read,
};

/// Two unique identifiers.
pub const TWO_IDENTIFIERS: Source = Source {
    short: "two identifiers",
    full: "Schein OD et al. Ophthalmology 2012;119:2059, wrong-lens events and the failure to match two unique identifiers",
    place: "abstract and society summary",
    mark: Mark::Read,
};

/// How names differ between two records of one person.
pub const DUPLICATE_NAMES: Source = Source {
    short: "duplicate records",
    full: "Just BH et al. Perspect Health Inf Manag 2016;13:1e: 398,939 confirmed duplicate pairs",
    place: "misspelling 53.1 % of first-name and 33.6 % of last-name mismatches, middle name 58.3 % of all mismatches",
    mark: Mark::Read,
};

/// Two instruments of different principle.
pub const TWO_DEVICES: Source = Source {
    short: "two instruments",
    full: "review PMC5742958: keratometry with two devices of different principle and several readings",
    place: "excerpt; that one source asks for a sign-off is our proposal",
    mark: Mark::Read,
};

/// Power formulas after corneal refractive surgery.
pub const CORNEAL_SURGERY: Source = Source {
    short: "operated cornea",
    full: "a keratometric index and a lens position formula assume the shape of a cornea that was never operated on",
    place: "refractive surgery is a stated reason to estimate the power by other means; the rule is our proposal",
    mark: Mark::Assumed,
};

/// Contact lenses before keratometry.
pub const CONTACT_LENS: Source = Source {
    short: "contact lens wear",
    full: "Cont Lens Anterior Eye 2008;31:122; PMID 10445193; Goudie et al., Eye 2018;32:1048, and others",
    place: "abstracts: two weeks enough after soft, five after rigid lenses where refraction and map stay within 0.5 D; by a review of one study 44 % of eyes still unstable three weeks after a rigid one; after soft ones no more variation over 0 to 7 days; there is no single rule, the limits are ours",
    mark: Mark::Assumed,
};

/// Drops and contact before keratometry.
pub const MEASURED_AFTER: Source = Source {
    short: "drops before keratometry",
    full: "tonometry, ultrasound with contact, anaesthetic and a dilated pupil change what a keratometer sees",
    place: "from memory; which of them asks a person is our choice",
    mark: Mark::FromMemory,
};

/// Wrong-eye events.
pub const WRONG_EYE: Source = Source {
    short: "surgical confusions",
    full: "Simon JW et al. Arch Ophthalmol 2007;125:1515: 106 surgical confusions, 15 of them the wrong eye",
    place: "abstract",
    mark: Mark::Read,
};

/// Two patients of one day taken for each other.
pub const WRONG_PATIENT: Source = Source {
    short: "wrong-patient case",
    full: "university teaching case on a lens chosen for the wrong patient: all charts of the day in the room, two patients of one sex confused; author and title were not noted",
    place: "case text; what counts as alike is our proposal",
    mark: Mark::Read,
};

/// Laterality attributes of DICOM.
pub const DICOM_LATERALITY: Source = Source {
    short: "DICOM PS3.3 C.8.25.7",
    full: "DICOM PS3.3, General Ophthalmic Refractive Measurements and Keratometry modules",
    place: "Measurement Laterality (0024,0113), Laterality (0020,0060), right and left eye sequences",
    mark: Mark::Read,
};

/// The principal meridians of a cornea are at right angles.
pub const ORTHOGONAL: Source = Source {
    short: "principal meridians",
    full: "DICOM PS3.3 C.8.25.10, Keratometry Measurements module: the steepest meridian is 90 degrees from the flattest",
    place: "meaning of Keratometry Right Eye Sequence (0046,0070); how far off is too far is not said there",
    mark: Mark::Read,
};

/// How far from a right angle is too far.
pub const PERPENDICULAR_STEPS: Source = Source {
    short: "steps off a right angle",
    full: "2, 5 and 10 degrees: averaged automatic keratometry is perpendicular by construction, so that more shows an irregular cornea or a mistake",
    place: "our proposal; that averaged readings are perpendicular is from memory",
    mark: Mark::Assumed,
};

/// What the trade does without a source we could name.
pub const COMMON_PRACTICE: Source = Source {
    short: "common practice",
    full: "practice of the trade",
    place: "no published source found",
    mark: Mark::CommonPractice,
};

/// Rules of this product.
pub const HOUSE_RULE: Source = Source {
    short: "house rule",
    full: "a rule or limit of this product; rules stand in docs/DESIGN.md, limits in docs/FINDINGS.md and site.toml",
    place: "no published source; made so that a doubt is never passed on silently",
    mark: Mark::Assumed,
};

/// A table of relaxing incisions by age and astigmatism.
pub const WALLACE_ARCS: Source = Source {
    short: "Wallace, relaxing incisions",
    full: "Wallace RB. Surgical correction of astigmatism with incisional techniques: tips and tricks. Springer, doi 10.1007/978-3-319-56565-1_6; year from memory: 2018",
    place: "the whole table of degrees and cuts; zone, depth, class limits, the place of a single cut and what the table is entered with are not in what was seen",
    mark: Mark::Read,
};

/// A table of arcs that the operator's own file states.
pub const NOMOGRAM_FILE: Source = Source {
    short: "table of arcs",
    full: "the approved file of the table of arcs, named with its revision on the record page",
    place: "authors, title, place and how far it was verified stand in that file and on the sheet, which prints the mark of the file",
    mark: Mark::Assumed,
};

/// Coupling of arcs: flattening of their own meridian over steepening of the other.
pub const ARC_COUPLING: Source = Source {
    short: "coupling of arcs",
    full: "paired arcs of 45 to 120 degrees in cadaver eyes, zones of 5 to 9 mm: coupling 1.47 +- 0.41; author and title were not noted",
    place: "abstract; that lens power is not changed for arcs is our assumption",
    mark: Mark::Read,
};

/// How much of the effect of arcs their plan explains.
pub const ARC_SPREAD: Source = Source {
    short: "spread of arcs",
    full: "ARC-T trial, 160 eyes, Lindstrom's table: share of the variance by number of cuts 30, length 16, age 8 and sex 2 %",
    place: "those shares; the remaining 44 % by subtraction",
    mark: Mark::Read,
};

/// Deepest cut of an arc.
pub const ARC_DEPTH: Source = Source {
    short: "depth of arcs",
    full: "a relaxing cut stays within 90 % of the thinnest local reading",
    place: "no published limit was read",
    mark: Mark::CommonPractice,
};

/// Every source, for the printed list.
pub const ALL: &[Source] = &[
    ISO_8429,
    ISO_10343,
    THIBOS_1997,
    FAM_LIM_2007,
    EOM_2015,
    EOM_BLEND,
    POSTERIOR_CONSTANT,
    HAIGIS_2000,
    GERNET_1970,
    NAESER_1994,
    WILLIAMS_1993,
    LONG_1976,
    GULLSTRAND,
    GOGGIN_2015,
    ABULAFIA_KOCH_2016,
    HOLLADAY_1988,
    HOFFER_1993,
    GUIDELINE_2017,
    RETZLAFF_1990,
    SHEARD_2010,
    VAN_DER_HEIJDE_1988,
    SWAMI_2002,
    SHEN_2010,
    FELIPE_2011,
    BERDAHL_2012,
    AXIS_FROM_VECTOR,
    WEIKERT_2018,
    COLLEWIJN_1985,
    CYCLOTORSION,
    MARK_AGE,
    VIEW_GEOMETRY,
    ERROR_BUDGET,
    ERROR_BUDGET_FACTOR,
    KERATOMETRY_WEIGHTS,
    BESSEL_ADDITION,
    MOD11,
    AGREEMENT,
    BIOMETRY_LIMITS,
    SCREENING_1988,
    MEASUREMENT_AGE,
    EARLIER_VISIT,
    AXIS_SCATTER,
    LENGTH_AGREEMENT,
    LENGTH_BETWEEN_EYES,
    IMPOSSIBLE,
    THREE_READINGS,
    TWO_IDENTIFIERS,
    DUPLICATE_NAMES,
    TWO_DEVICES,
    CORNEAL_SURGERY,
    CONTACT_LENS,
    MEASURED_AFTER,
    WRONG_EYE,
    WRONG_PATIENT,
    DICOM_LATERALITY,
    ORTHOGONAL,
    PERPENDICULAR_STEPS,
    WALLACE_ARCS,
    NOMOGRAM_FILE,
    ARC_COUPLING,
    ARC_SPREAD,
    ARC_DEPTH,
    COMMON_PRACTICE,
    HOUSE_RULE,
];
