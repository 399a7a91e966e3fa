use super::*;
use proptest::prelude::*;

fn mm(text: &str) -> Result<String, LengthError> {
    Length::parse(text, LengthUnit::Mm).map(|l| l.mm().to_string())
}

#[test]
fn reads_what_a_shop_types() {
    for (text, expected) in [
        ("12.5", "12.5"),
        ("12.5 mm", "12.5"),
        ("12.5mm", "12.5"),
        ("-3", "-3"),
        ("0.5 in", "12.7"),
        ("0.5\"", "12.7"),
        (".5 inch", "12.7"),
        ("1/2\"", "12.7"),
        ("1/2 in", "12.7"),
        ("1 3/8 in", "34.925"),
        ("1-3/8\"", "34.925"),
        ("1⅜ in", "34.925"),
        ("½\"", "12.7"),
        ("⅛ in", "3.175"),
        ("1⅝\"", "41.275"),
        ("1⁄2 in", "12.7"),
        ("5 thou", "0.127"),
        ("1.5 thou", "0.0381"),
        ("1/128 in", "0.1984375"),
        ("10000", "10000"),
    ] {
        assert_eq!(mm(text).as_deref(), Ok(expected), "{text}");
    }
    let inch = Length::parse("0.5", LengthUnit::Inch);
    assert_eq!(inch, Length::parse("12.7 mm", LengthUnit::Inch));
    assert_eq!(inch, Length::parse("1/2", LengthUnit::Inch));
}

#[test]
fn says_what_it_did_not_understand() {
    for (text, message) in [
        (
            "",
            "a length is missing; write it like 12.5 mm, 0.5 in, 1 3/8 in or 5 thou",
        ),
        (
            "12,5",
            "“12,5” has a comma; write the decimals after a point, as in 12.5",
        ),
        (
            "12 cm",
            "“cm” in “12 cm” is not a unit of length we know; use mm, in or thou",
        ),
        (
            "1.2.3",
            "“1.2.3” in “1.2.3” is not a number; write it like 12.5, 1/2 or 1 3/8",
        ),
        (
            "1/3 in",
            "“1/3” is not a fraction of the rule; the lower number must be 2, 4, 8, 16, 32, 64 or 128",
        ),
        (
            "1/2",
            "“1/2” needs its unit here: write 1/2 in for inches, or the size in millimetres",
        ),
        (
            "11 m",
            "“m” in “11 m” is not a unit of length we know; use mm, in or thou",
        ),
        ("10001", "“10001” is more than 10 m, which is not believed"),
        (
            "0.1234567891",
            "“0.1234567891” has more than 9 digits after the point",
        ),
    ] {
        let error = Length::parse(text, LengthUnit::Mm).unwrap_err();
        assert_eq!(error.to_string(), message);
    }
    assert!(mm("99999999999999999999999999999999999").is_err());
    assert!(mm("1/0 in").is_err());
    assert!(mm("mm").is_err());
}

#[test]
fn shows_fractions_only_when_they_are_exact() {
    let show = |text| {
        Length::parse(text, LengthUnit::Mm)
            .unwrap()
            .show(LengthUnit::Inch)
    };
    assert_eq!(show("12.7"), "1/2 in");
    assert_eq!(show("34.925"), "1 3/8 in");
    assert_eq!(show("50.8"), "2 in");
    assert_eq!(show("1/64 in"), "1/64 in");
    assert_eq!(show("1/128 in"), "0.0078 in");
    assert_eq!(show("0.127"), "0.005 in");
    assert_eq!(show("10"), "0.3937 in");
    assert_eq!(show("-12.7"), "-1/2 in");
}

proptest! {
    #[test]
    fn millimetres_round_trip(micrometres in -10_000_000_i32..=10_000_000) {
        let length = Length::from_um(micrometres);
        prop_assert_eq!(length.to_string().parse(), Ok(length));
        for unit in [LengthUnit::Mm, LengthUnit::Inch] {
            prop_assert_eq!(Length::parse(&length.entry(unit), unit), Ok(length));
        }
    }

    #[test]
    fn sixty_fourths_round_trip(n in -25_000_i32..25_000) {
        let length = Length::from_inches(Decimal::from(n) / Decimal::from(64));
        prop_assert_eq!(Length::parse(&length.show(LengthUnit::Inch), LengthUnit::Inch), Ok(length));
    }

    #[test]
    fn thou_round_trip(tenths in 0_i64..1_000_000) {
        let thou = Decimal::new(tenths, 1);
        let length = Length::parse(&format!("{thou} thou"), LengthUnit::Mm).unwrap();
        prop_assert_eq!(length.mm(), thou * Decimal::new(254, 4));
    }

    #[test]
    fn nothing_panics(text in ".{0,30}", a in any::<i128>(), scale in 0_u32..28) {
        drop(Length::parse(&text, LengthUnit::Inch));
        if let Ok(mm) = Decimal::try_from_i128_with_scale(a, scale) {
            let length = Length::from_mm(mm);
            drop((length.show(LengthUnit::Inch), length.entry(LengthUnit::Inch), length + length - length));
            let _ = Length::from_inches(mm);
        }
    }
}
