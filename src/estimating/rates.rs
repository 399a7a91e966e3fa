//! What an hour costs: the machine-hour rate worksheet and the people's rates.

use super::cost::CostLine;
use crate::units::{Money, MoneyError};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The worksheet behind a machine-hour rate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MachineRate {
    /// What the machine cost, installed.
    pub capital: Money,
    /// What it will fetch at the end.
    pub residual: Money,
    /// Years of life.
    pub life_years: Decimal,
    /// Interest on average capital employed, per cent a year.
    pub interest_percent: Decimal,
    /// Average power while running, kW.
    pub power_kw: Decimal,
    /// Price of a kWh.
    pub power_price: Money,
    /// Maintenance and tooling a year.
    pub maintenance_a_year: Money,
    /// Floor space, m².
    pub space_m2: Decimal,
    /// Rent, rates and heat of one m² a year.
    pub space_price: Money,
    /// Insurance a year.
    pub insurance_a_year: Money,
    /// Productive hours a year.
    pub hours_a_year: Decimal,
}

/// Why a worksheet gives no rate.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RateError {
    /// A figure that must be above zero is not; the field's name follows for the form.
    #[error("{what} must be above 0")]
    NotPositive {
        /// The worksheet's field.
        field: &'static str,
        /// In words.
        what: &'static str,
    },
    /// A figure below zero.
    #[error("{what} cannot be less than 0")]
    Negative {
        /// The worksheet's field.
        field: &'static str,
        /// In words.
        what: &'static str,
    },
    /// It fetches more at the end than it cost.
    #[error("what the machine fetches at the end cannot be more than it cost")]
    ResidualAboveCapital,
    /// Currencies met that do not mix, or a figure too large.
    #[error(transparent)]
    Money(#[from] MoneyError),
}

impl MachineRate {
    /// The rate of one productive hour, opening down to its lines. Each line is rounded to the penny, so that the lines
    /// shown add up to the rate shown.
    ///
    /// Depreciation is straight line, (P − S)/n a year. Interest is on the average annual investment,
    /// (P·(n + 1) + S·(n − 1))/(2·n), the usual form in the costing of plant (e.g. Peurifoy and others, Construction
    /// Planning, Equipment, and Methods, average annual investment method). P capital, S residual, n years of life.
    ///
    /// # Errors
    /// [`RateError`].
    pub fn per_hour(&self) -> Result<CostLine, RateError> {
        self.check()?;
        let (life, hours) = (self.life_years, self.hours_a_year);
        let a_year = |label: &str, how: String, amount: Money| -> Result<CostLine, RateError> {
            Ok(CostLine {
                label: label.to_owned(),
                how: format!("{how}, over {} h", hours.normalize()),
                amount: amount.over(hours)?.rounded(),
                lines: Vec::new(),
            })
        };
        let depreciation = self.capital.minus(self.residual)?.over(life)?;
        let average = self
            .capital
            .times(life + Decimal::ONE)?
            .plus(self.residual.times(life - Decimal::ONE)?)?
            .over(life * Decimal::TWO)?;
        let interest = average.percent(self.interest_percent)?;
        let space = self.space_price.times(self.space_m2)?;
        let lines = vec![
            a_year(
                "Depreciation",
                format!(
                    "({} − {}) in {} years is {depreciation} a year",
                    self.capital,
                    self.residual,
                    life.normalize()
                ),
                depreciation,
            )?,
            a_year(
                "Interest",
                format!(
                    "{} % of {average} employed on average",
                    self.interest_percent.normalize()
                ),
                interest,
            )?,
            CostLine {
                label: "Power".to_owned(),
                how: format!(
                    "{} kW at {} {} a kWh",
                    self.power_kw.normalize(),
                    // Electricity is priced finer than the penny that money is shown to.
                    self.power_price.amount().normalize(),
                    self.power_price.currency().code(),
                ),
                amount: self.power_price.times(self.power_kw)?.rounded(),
                lines: Vec::new(),
            },
            a_year(
                "Maintenance and tooling",
                format!("{} a year", self.maintenance_a_year),
                self.maintenance_a_year,
            )?,
            a_year(
                "Space",
                format!(
                    "{} m² at {} a year",
                    self.space_m2.normalize(),
                    self.space_price
                ),
                space,
            )?,
            a_year(
                "Insurance",
                format!("{} a year", self.insurance_a_year),
                self.insurance_a_year,
            )?,
        ];
        let amount = Money::sum(
            self.capital.currency(),
            lines.iter().map(|line| line.amount),
        )?;
        Ok(CostLine {
            label: "Machine hour".to_owned(),
            how: format!("the sum of {} lines", lines.len()),
            amount,
            lines,
        })
    }

    fn check(&self) -> Result<(), RateError> {
        for (field, what, value) in [
            ("life_years", "the life in years", self.life_years),
            (
                "hours_a_year",
                "the productive hours a year",
                self.hours_a_year,
            ),
        ] {
            if value <= Decimal::ZERO {
                return Err(RateError::NotPositive { field, what });
            }
        }
        for (field, what, value) in [
            ("capital", "the capital", self.capital.amount()),
            (
                "residual",
                "what it fetches at the end",
                self.residual.amount(),
            ),
            ("interest_percent", "the interest", self.interest_percent),
            ("power_kw", "the power", self.power_kw),
            (
                "power_price",
                "the price of a kWh",
                self.power_price.amount(),
            ),
            (
                "maintenance_a_year",
                "the maintenance",
                self.maintenance_a_year.amount(),
            ),
            ("space_m2", "the floor space", self.space_m2),
            (
                "space_price",
                "the price of a square metre",
                self.space_price.amount(),
            ),
            (
                "insurance_a_year",
                "the insurance",
                self.insurance_a_year.amount(),
            ),
        ] {
            if value < Decimal::ZERO {
                return Err(RateError::Negative { field, what });
            }
        }
        if self.residual.amount() > self.capital.amount() {
            return Err(RateError::ResidualAboveCapital);
        }
        Ok(())
    }
}

/// Hourly rates in force, as a job is costed with them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rates {
    /// By machine kind.
    pub machine: BTreeMap<String, Money>,
    /// By skill.
    pub people: BTreeMap<String, Money>,
    /// For a skill without a rate of its own.
    pub people_default: Money,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    fn inr(text: &str) -> Money {
        Money::parse(text, Currency::from_code("INR").unwrap()).unwrap()
    }

    /// A worksheet with nothing on it but a life of ten years and 2,000 hours.
    fn blank() -> MachineRate {
        MachineRate {
            capital: inr("0"),
            residual: inr("0"),
            life_years: d("10"),
            interest_percent: d("0"),
            power_kw: d("0"),
            power_price: inr("0"),
            maintenance_a_year: inr("0"),
            space_m2: d("0"),
            space_price: inr("0"),
            insurance_a_year: inr("0"),
            hours_a_year: d("2000"),
        }
    }

    /// Navkar Institute, CA Intermediate paper 2, Cost and Management Accounting, page 77 (scribd.com, 515631359): 2,200 h
    /// less 200 h of maintenance; machine 10,000, scrap 1,000, ten years; 16 units at 0.09 for 1,900 of the 2,000 hours
    /// (15.2 on average); chemical solution 1,000 and maintenance 1,200 a year; standing charges 3,000 a year. Published:
    /// 0.45 + 1.37 + 0.50 + 0.60 + 1.50 = 4.42 an hour. The standing charges stand on the line for space here.
    #[test]
    fn a_published_machine_hour_rate() {
        let rate = MachineRate {
            capital: inr("10000"),
            residual: inr("1000"),
            power_kw: d("15.2"),
            power_price: inr("0.09"),
            maintenance_a_year: inr("2200"),
            space_m2: d("1"),
            space_price: inr("3000"),
            ..blank()
        };
        let line = rate.per_hour().unwrap();
        assert_eq!(line.amount, inr("4.42"));
        let amounts: Vec<_> = line
            .lines
            .iter()
            .map(|l| (l.label.as_str(), l.amount))
            .collect();
        assert_eq!(amounts[0], ("Depreciation", inr("0.45")));
        assert_eq!(amounts[2], ("Power", inr("1.37")));
        assert_eq!(amounts[3], ("Maintenance and tooling", inr("1.10")));
        assert_eq!(amounts[4], ("Space", inr("1.50")));
        assert_eq!(
            Money::sum(line.amount.currency(), line.lines.iter().map(|l| l.amount)),
            Ok(line.amount)
        );
    }

    /// Average annual investment: an asphalt loader of 300,000 (without tyres), salvage 75,000, six years, 6.32 %, 2,800 h:
    /// 206,250 a year employed, 4.66 an hour (scribd.com, 364582737, a worked plant-cost problem); its depreciation of
    /// 225,000/16,800 h is printed there as 13.40, and is 13.39.
    #[test]
    fn published_interest_on_average_investment() {
        let rate = MachineRate {
            capital: inr("300000"),
            residual: inr("75000"),
            life_years: d("6"),
            interest_percent: d("6.32"),
            hours_a_year: d("2800"),
            ..blank()
        };
        let line = rate.per_hour().unwrap();
        assert_eq!(line.lines[1].amount, inr("4.66"));
        assert!(
            line.lines[1].how.contains("₹206,250.00"),
            "{}",
            line.lines[1].how
        );
        assert_eq!(line.lines[0].amount, inr("13.39"));
    }

    #[test]
    fn nonsense_is_refused_beside_its_field() {
        let zero_hours = MachineRate {
            hours_a_year: d("0"),
            ..blank()
        };
        assert!(matches!(
            zero_hours.per_hour(),
            Err(RateError::NotPositive {
                field: "hours_a_year",
                ..
            })
        ));
        let negative = MachineRate {
            power_kw: d("-1"),
            ..blank()
        };
        assert!(matches!(
            negative.per_hour(),
            Err(RateError::Negative {
                field: "power_kw",
                ..
            })
        ));
        let odd = MachineRate {
            residual: inr("1"),
            ..blank()
        };
        assert_eq!(odd.per_hour(), Err(RateError::ResidualAboveCapital));
        let huge = MachineRate {
            interest_percent: Decimal::MAX,
            capital: inr("1000"),
            ..blank()
        };
        assert_eq!(huge.per_hour(), Err(RateError::Money(MoneyError::Overflow)));
    }
}
