//! Reading, printing, sharing.

use super::*;
use proptest::prelude::*;

fn gbp() -> Currency {
    Currency::from_code("GBP").unwrap()
}

#[test]
fn reads_what_people_type() {
    for (text, pence) in [
        ("1250", 125_000),
        ("1250.5", 125_050),
        ("1,250.00", 125_000),
        ("£1,250.00", 125_000),
        (" £ 12 ", 1_200),
        ("GBP 1,250", 125_000),
        ("20 gbp", 2_000),
        ("-20", -2_000),
        ("−£20", -2_000),
        ("£-20", -2_000),
        (".5", 50),
        ("3.", 300),
        ("1.500", 150),
    ] {
        let read = Money::parse(text, gbp()).map(Money::to_minor);
        assert_eq!(read, Ok(Ok(pence)), "{text}");
    }
}

#[test]
fn refuses_the_rest_with_a_reason() {
    use MoneyError::{NotAnAmount, OtherCurrency, Overflow, TooFine};
    for text in [
        "", "abc", "1.2.3", "12,50", "1,2345", ",5", "1e5", "--5", "-£-5", ".",
    ] {
        assert!(
            matches!(Money::parse(text, gbp()), Err(NotAnAmount(_))),
            "{text}"
        );
    }
    assert!(matches!(Money::parse("1.255", gbp()), Err(TooFine { .. })));
    assert!(matches!(
        Money::parse("€5", gbp()),
        Err(OtherCurrency { .. })
    ));
    assert!(matches!(
        Money::parse("5 USD", gbp()),
        Err(OtherCurrency { .. })
    ));
    let huge = "9".repeat(40);
    assert_eq!(Money::parse(&huge, gbp()), Err(Overflow));
    let message = Money::parse("1.255", gbp()).unwrap_err().to_string();
    assert_eq!(
        message,
        "“1.255” has more than 2 digits after the point, and GBP has no smaller coin"
    );
}

#[test]
fn prints_with_symbol_or_code_and_the_currency_s_own_digits() {
    let show =
        |minor, code| Money::from_minor(minor, Currency::from_code(code).unwrap()).to_string();
    assert_eq!(show(125_000, "GBP"), "£1,250.00");
    assert_eq!(show(-123_456_789, "EUR"), "−€1,234,567.89");
    assert_eq!(show(125_000, "CHF"), "CHF\u{a0}1,250.00");
    assert_eq!(show(1_250, "JPY"), "JPY\u{a0}1,250");
    assert_eq!(show(1_250, "KWD"), "KWD\u{a0}1.250");
    assert_eq!(show(0, "GBP"), "£0.00");
    assert_eq!(show(125_000, "INR"), "₹1,250.00");
    assert_eq!(show(125_000, "TRY"), "₺1,250.00");
    assert_eq!(show(125_000, "PLN"), "PLN\u{a0}1,250.00");
    assert_eq!(show(125_000, "USD"), "$1,250.00");
    assert_eq!(show(125_000, "AUD"), "AUD\u{a0}1,250.00");
}

#[test]
fn a_shared_sign_is_read_as_the_currency_asked_for() {
    let read = |text, code| Money::parse(text, Currency::from_code(code).unwrap());
    assert_eq!(read("$5", "AUD").unwrap().to_minor(), Ok(500));
    assert_eq!(read("¥500", "JPY").unwrap().to_minor(), Ok(500));
    assert!(matches!(
        read("¥500", "AUD"),
        Err(MoneyError::OtherCurrency { .. })
    ));
}

#[test]
fn only_what_a_shop_is_paid_in_is_a_currency() {
    for code in ["GBP", " jpy ", "KWD", "UAH", "ZAR"] {
        assert!(Currency::from_code(code).is_ok(), "{code}");
    }
    // A fund, gold, the code for tests, no code.
    for code in ["CLF", "XAU", "XTS", "ZZZ", "", "€"] {
        assert!(Currency::from_code(code).is_err(), "{code}");
    }
}

#[test]
fn money_is_stored_with_its_code() {
    let money = Money::parse("12.50", gbp()).unwrap();
    let stored = serde_json::to_value(money).unwrap();
    assert_eq!(
        stored,
        serde_json::json!({ "amount": "12.5", "currency": "GBP" })
    );
    assert_eq!(serde_json::from_value::<Money>(stored).unwrap(), money);
}

#[test]
fn an_hourly_rate_times_minutes_is_exact() {
    let rate = Money::from_minor(3_000, gbp());
    let twenty = rate.for_time(Minutes(Decimal::from(20))).unwrap();
    assert_eq!(twenty.amount(), Decimal::from(10));
}

#[test]
fn currencies_do_not_mix() {
    let euro = Money::from_minor(1, Currency::from_code("EUR").unwrap());
    assert!(matches!(
        Money::zero(gbp()).plus(euro),
        Err(MoneyError::MixedCurrencies(..))
    ));
    assert!(Money::sum(gbp(), [euro]).is_err());
}

proptest! {
    #[test]
    fn printed_money_reads_back(minor in -99_999_999_999_i64..99_999_999_999) {
        for code in ["GBP", "CHF", "JPY", "KWD"] {
            let currency = Currency::from_code(code).unwrap();
            let money = Money::from_minor(minor, currency);
            let read = Money::parse(&money.to_string(), currency);
            // Only amounts above a billion are refused.
            match read {
                Ok(read) => prop_assert_eq!(read.to_minor(), Ok(minor)),
                Err(error) => {
                    prop_assert_eq!(error, MoneyError::Overflow);
                    prop_assert!(money.amount().abs() > LARGEST_TYPED);
                }
            }
        }
    }

    #[test]
    fn reading_never_panics(text in ".{0,40}") {
        drop(Money::parse(&text, gbp()));
    }

    #[test]
    fn plus_and_minus_undo_each_other(a in any::<i32>(), b in any::<i32>()) {
        let (a, b) = (Money::from_minor(a.into(), gbp()), Money::from_minor(b.into(), gbp()));
        prop_assert_eq!(a.plus(b).unwrap().minus(b), Ok(a));
        prop_assert_eq!(a.plus(b), b.plus(a));
    }

    #[test]
    fn any_decimal_survives(a in any::<i128>(), scale in 0_u32..28) {
        if let Ok(amount) = Decimal::try_from_i128_with_scale(a, scale) {
            let money = Money::new(amount, gbp());
            drop(money.to_minor());
            drop(money.times(amount));
            drop(money.plus(money));
            drop(money.percent(amount));
            drop(money.to_string());
        }
    }
}

#[test]
fn nothing_has_no_sign() {
    let nothing = Money::zero(gbp()).minus(Money::zero(gbp())).unwrap();
    assert_eq!(nothing.to_string(), Money::zero(gbp()).to_string());
    assert_eq!(serde_json::to_value(nothing).unwrap()["amount"], "0");
}
