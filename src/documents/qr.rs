//! A QR code (ISO/IEC 18004): an address that a phone's camera reads off paper.

use super::sheet::SheetError;
use qrcodegen::{QrCode, QrCodeEcc};

/// Light modules around a code, on each side (ISO/IEC 18004 asks for four, from memory).
const QUIET: i32 = 4;

/// A QR code.
pub struct Code(QrCode);

impl Code {
    /// Of an address, at error correction level M: about 15 per cent of it may be lost to an oily thumb.
    ///
    /// # Errors
    /// [`SheetError::TooLong`].
    pub fn of(address: &str) -> Result<Self, SheetError> {
        QrCode::encode_text(address, QrCodeEcc::Medium)
            .map(Self)
            .map_err(|_| SheetError::TooLong(address.to_owned()))
    }

    /// Modules along a side, the quiet zone included.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "at most 185")]
    pub fn with_quiet_zone(&self) -> f32 {
        (self.0.size() + 2 * QUIET) as f32
    }

    /// Column and row of each dark module, the quiet zone counted.
    #[expect(clippy::cast_precision_loss, reason = "at most 185")]
    pub fn dark(&self) -> impl Iterator<Item = (f32, f32)> + '_ {
        let size = self.0.size();
        (0..size)
            .flat_map(move |row| (0..size).map(move |column| (column, row)))
            .filter(|(column, row)| self.0.get_module(*column, *row))
            .map(|(column, row)| ((column + QUIET) as f32, (row + QUIET) as f32))
    }
}
