//! The typeface of printed text: DejaVu Sans Condensed, regular and bold, carried in the program. It has the letters of
//! Latin, Greek and Cyrillic alphabets and the currency signs; a character it lacks (Chinese, Japanese, Korean …) is
//! printed as an empty box. A document embeds only the characters it shows.

use super::sheet::SheetError;
use krilla::text::Font;
use ttf_parser::Face;

/// One weight of the typeface.
pub(super) struct Weight {
    font: Font,
    face: Face<'static>,
}

impl Weight {
    fn read(data: &'static [u8]) -> Result<Self, SheetError> {
        let font = Font::new(data.into(), 0).ok_or(SheetError::Typeface)?;
        let face = Face::parse(data, 0).map_err(|_| SheetError::Typeface)?;
        Ok(Self { font, face })
    }

    /// The font as a document embeds it.
    pub(super) fn font(&self) -> Font {
        self.font.clone()
    }

    /// The width of a text set one point high, in points, before kerning and ligatures, which only narrow it.
    pub(super) fn width(&self, text: &str) -> f32 {
        let units: u32 = text.chars().map(|c| self.advance(c)).sum();
        #[expect(
            clippy::cast_precision_loss,
            reason = "a line is far less than 2^24 units"
        )]
        let units = units as f32;
        units / f32::from(self.face.units_per_em())
    }

    /// What a character moves the pen, in font units.
    fn advance(&self, c: char) -> u32 {
        // Glyph 0 is what is drawn for a character that the font lacks.
        let glyph = self.face.glyph_index(c).unwrap_or_default();
        self.face.glyph_hor_advance(glyph).map_or(0, u32::from)
    }
}

/// Both weights.
pub(super) struct Typeface {
    pub(super) plain: Weight,
    pub(super) bold: Weight,
}

impl Typeface {
    /// # Errors
    /// [`SheetError::Typeface`] when the fonts in the program do not read.
    pub(super) fn load() -> Result<Self, SheetError> {
        Ok(Self {
            plain: Weight::read(dejavu::sans_condensed::regular())?,
            bold: Weight::read(dejavu::sans_condensed::bold())?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn has_what_a_shop_prints() {
        let typeface = Typeface::load().unwrap();
        for text in [
            "Łukasz Żółć, Ærø, Çağrı Şen, Þórður, Nguyễn Thị Hằng",
            "Γιώργος Παπαδόπουλος, Дмитро Їжак, Ђорђе",
            "£ € $ ¥ ₹ ₪ ₩ ₺ ₴ ₽ ₫ ₦ ₱ ₸ ฿ zł Kč Ft kr",
            "⌀12 H7 ±0.01 µm μm Ra Ω 90° ½″ × − – — … • ‘’ “” ≤ ≥",
        ] {
            for c in text.chars() {
                for weight in [&typeface.plain, &typeface.bold] {
                    assert!(weight.face.glyph_index(c).is_some(), "no {c}");
                }
            }
        }
    }

    #[test]
    fn width_is_the_sum_of_advances() {
        let plain = Typeface::load().unwrap().plain;
        let m = f32::from(plain.face.units_per_em());
        let zero = plain.face.glyph_index('0').unwrap();
        let zero = f32::from(plain.face.glyph_hor_advance(zero).unwrap()) / m;
        assert!((plain.width("0000") - 4.0 * zero).abs() < 1e-6);
        assert!((0.5..0.65).contains(&zero), "{zero}");
    }
}
