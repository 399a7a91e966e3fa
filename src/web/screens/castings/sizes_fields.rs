//! Fields of the sizes of a pattern: several sizes in one, roughness, torques; those of crankshaft, cam and rear face.

use crate::castings::measured::Sizes;
use crate::units::{Fit, Length, LengthUnit};
use crate::web::screens::shelf::measured::{roughness, roughness_division, roughness_unit};
use crate::web::ui::Field;
use crate::web::ui::record::{Fields, Lens, at};
use rust_decimal::Decimal;

/// Sizes as they are typed: `0.25, 0.5, 1`.
fn sizes_typed(sizes: &[Length], unit: LengthUnit) -> String {
    let each: Vec<String> = sizes.iter().map(|one| one.entry(unit)).collect();
    each.join(", ")
}

/// A field of several sizes, separated by commas.
pub(super) fn sizes_field<'a>(
    f: &'a mut Fields<Sizes>,
    (name, label): (&str, &str),
    lens: Lens<Sizes, Vec<Length>>,
    unit: LengthUnit,
) -> &'a mut Fields<Sizes> {
    f.value(
        Field::text(name, label, "").optional(),
        lens,
        move |all: &Vec<Length>| sizes_typed(all, unit),
        move |errors, name, raw| {
            raw.split([',', ';'])
                .map(str::trim)
                .filter(|one| !one.is_empty())
                .map(|one| errors.length(name, one, unit))
                .collect()
        },
    )
}

/// A field of a roughness Ra, in micrometres or microinches.
pub(super) fn ra_field<'a>(
    f: &'a mut Fields<Sizes>,
    (name, label): (&str, &str),
    lens: Lens<Sizes, Option<Length>>,
    unit: LengthUnit,
) -> &'a mut Fields<Sizes> {
    f.value(
        Field::decimal(name, label, "").unit(roughness_unit(unit)),
        lens,
        move |ra: &Length| roughness(*ra, unit),
        move |errors, name, raw| {
            let ra = errors.decimal(name, raw, Decimal::ZERO..=Decimal::from(5000))?;
            Some(Length::from_mm((ra * roughness_division(unit)).normalize()))
        },
    )
}

/// Torque of the main caps, in stages.
pub(super) fn torques(f: &mut Fields<Sizes>) {
    let stages = "In N·m, each stage in turn, the final one last: 40, 80, 110";
    torque_field(
        f,
        ("bolt_stages", "Torque of the temporary bolts"),
        at!(mains.bolt_stages),
    )
    .hint(stages);
    torque_field(
        f,
        ("stud_stages", "Torque of the final studs"),
        at!(mains.stud_stages),
    )
    .hint(stages);
}

fn torque_field<'a>(
    f: &'a mut Fields<Sizes>,
    (name, label): (&str, &str),
    lens: Lens<Sizes, Vec<Decimal>>,
) -> &'a mut Fields<Sizes> {
    f.value(
        Field::text(name, label, "").optional(),
        lens,
        |all: &Vec<Decimal>| {
            let each: Vec<String> = all.iter().map(|one| one.normalize().to_string()).collect();
            each.join(", ")
        },
        |errors, name, raw| {
            raw.split([',', ';'])
                .map(str::trim)
                .filter(|one| !one.is_empty())
                .map(|one| errors.decimal(name, one, Decimal::ZERO..=Decimal::from(2000)))
                .collect()
        },
    )
}

/// The rear face, and the dowels that set what is bolted to it.
pub(super) fn rear(f: &mut Fields<Sizes>, unit: LengthUnit) {
    f.heading("Rear face and gearbox housing");
    f.length(
        "rear_face",
        "Most run-out of the face",
        at!(rear.face_run_out),
    )
    .hint("Adaptor or housing on, the whole swing of the indicator");
    f.length(
        "rear_bore",
        "Most run-out of the bore",
        at!(rear.bore_run_out),
    )
    .hint("The whole swing");
    sizes_field(
        f,
        ("rear_offsets", "Offset dowels"),
        at!(rear.offsets),
        unit,
    )
    .hint("How far the two ends of one are off one another: 3 thou, 5 thou");
    f.length("rear_dowel", "Dowel diameter", at!(rear.dowel));
    fit_field(
        f,
        ("rear_hole_fit", "Class of the dowel holes"),
        at!(rear.hole_fit),
    )
    .hint("ISO 286, for example H7");
    fit_field(
        f,
        ("rear_pin_fit", "Class of the dowels"),
        at!(rear.pin_fit),
    )
    .hint("ISO 286, for example m6");
}

fn fit_field<'a>(
    f: &'a mut Fields<Sizes>,
    (name, label): (&str, &str),
    lens: Lens<Sizes, Option<Fit>>,
) -> &'a mut Fields<Sizes> {
    f.value(
        Field::text(name, label, ""),
        lens,
        |fit: &Fit| fit.to_string(),
        |errors, name, raw| errors.parsed(name, raw, str::parse::<Fit>),
    )
}

pub(super) fn crank(f: &mut Fields<Sizes>, unit: LengthUnit) {
    f.heading("Crankshaft: main journals");
    f.length(
        "crank_smallest",
        "Smallest standard main",
        at!(crank.mains.smallest),
    );
    f.length(
        "crank_largest",
        "Largest standard main",
        at!(crank.mains.largest),
    );
    f.length("crank_wear", "Most wear of a main", at!(crank.mains.wear))
        .hint("Under the largest, before it is ground");
    f.length(
        "crank_taper",
        "Most taper of a main",
        at!(crank.mains.taper),
    );
    f.length(
        "crank_ovality",
        "Most ovality of a main",
        at!(crank.mains.ovality),
    );
    f.length(
        "crank_run_out",
        "Most run-out of a main",
        at!(crank.run_out),
    )
    .hint("The whole swing of the indicator, shaft on its end mains");
    let field = ("crank_undersizes", "Main bearing undersizes");
    sizes_field(f, field, at!(crank.mains.undersizes), unit)
        .hint("Under standard, separated by commas: 0.25, 0.5");
    f.length(
        "crank_clean_up",
        "Allowance to grind a main",
        at!(crank.mains.clean_up),
    )
    .hint("On the diameter, beyond the smallest reading, for grinding and polishing");
    f.length(
        "crank_thrust_least",
        "Least width between the thrust faces",
        at!(crank.thrust_least),
    );
    f.length(
        "crank_thrust_most",
        "Most width between the thrust faces",
        at!(crank.thrust_most),
    );
    f.heading("Crankshaft: big-end pins");
    f.int("pin_count", "How many pins", 1..=32, at!(crank.pin_count))
        .hint("Leave it empty for one a cylinder");
    f.length(
        "pin_smallest",
        "Smallest standard pin",
        at!(crank.pins.smallest),
    );
    f.length(
        "pin_largest",
        "Largest standard pin",
        at!(crank.pins.largest),
    );
    f.length("pin_wear", "Most wear of a pin", at!(crank.pins.wear));
    f.length("pin_taper", "Most taper of a pin", at!(crank.pins.taper));
    f.length(
        "pin_ovality",
        "Most ovality of a pin",
        at!(crank.pins.ovality),
    );
    let field = ("pin_undersizes", "Big-end bearing undersizes");
    sizes_field(f, field, at!(crank.pins.undersizes), unit);
    f.length(
        "pin_clean_up",
        "Allowance to grind a pin",
        at!(crank.pins.clean_up),
    );
}

pub(super) fn cam(f: &mut Fields<Sizes>, unit: LengthUnit) {
    f.heading("Cam tunnel and lifter bores");
    f.int(
        "cam_bearings",
        "How many cam bearings",
        1..=32,
        at!(cam.bearings),
    )
    .hint("Leave it empty for as many as mains");
    let each = "One size for all, or one for each from the front, separated by commas";
    sizes_field(f, ("tunnel", "Smallest tunnel bore"), at!(cam.tunnel), unit).hint(each);
    f.length(
        "tunnel_tolerance",
        "Most over that",
        at!(cam.tunnel_tolerance),
    )
    .hint("Tunnel without bushes");
    sizes_field(f, ("bush", "Smallest bush, fitted"), at!(cam.bush), unit).hint(each);
    f.length(
        "bush_tolerance",
        "Most over that, new",
        at!(cam.bush_tolerance),
    );
    f.length("bush_wear", "Most over that, worn", at!(cam.bush_wear));
    f.length(
        "cam_ovality",
        "Most ovality of tunnel and bushes",
        at!(cam.ovality),
    );
    f.length(
        "cam_step",
        "Most from one cam bearing to the next",
        at!(cam.step),
    )
    .hint("Off the line");
    f.length("cam_line", "Most over the whole cam line", at!(cam.line))
        .hint("Straightness");
    f.int(
        "lifters",
        "How many lifter bores",
        1..=128,
        at!(cam.lifters),
    )
    .hint("Leave it empty for two a cylinder");
    f.length(
        "lifter_smallest",
        "Smallest lifter bore",
        at!(cam.lifter_smallest),
    );
    f.length(
        "lifter_largest",
        "Largest lifter bore",
        at!(cam.lifter_largest),
    );
    f.length(
        "lifter_wear",
        "Most wear of a lifter bore",
        at!(cam.lifter_wear),
    )
    .hint("Over the smallest");
    f.length(
        "lifter_taper",
        "Most taper of a lifter bore",
        at!(cam.lifter_taper),
    );
    f.length(
        "lifter_ovality",
        "Most ovality of a lifter bore",
        at!(cam.lifter_ovality),
    );
}
