//! Pictures in place of photographs, drawn pixel by pixel: a block on timber, from the side or on its deck. Every caption
//! says that they are drawn.

use super::fill::DemoError;
use super::seed::{SeedError, View};
use crate::db::casting_records::NewPhoto;
use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, Rgb, RgbImage};

const WIDTH: u32 = 960;
const HEIGHT: u32 = 640;
/// Longest side of the small one.
const SMALL: u32 = 320;

/// A drawn picture as it is kept.
///
/// # Errors
/// When it cannot be encoded.
pub(super) fn photo(view: View, cylinders: u32, caption: &str) -> Result<NewPhoto, DemoError> {
    let picture = DynamicImage::from(drawn(view, cylinders));
    let small = picture.thumbnail(SMALL, SMALL);
    Ok(NewPhoto {
        caption: format!("{caption} (drawn for the demo, not a photograph)"),
        width: WIDTH,
        height: HEIGHT,
        body: jpeg(&picture)?,
        thumbnail: jpeg(&small)?,
    })
}

fn jpeg(picture: &DynamicImage) -> Result<Vec<u8>, DemoError> {
    let mut bytes = Vec::new();
    picture
        .to_rgb8()
        .write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, 80))
        .map_err(|error| SeedError {
            file: "market.toml",
            why: format!("a picture: {error}"),
        })?;
    Ok(bytes)
}

/// Grain of a surface: the same for the same place, between −1 and 1.
fn grain(x: u32, y: u32) -> f32 {
    let mut n = x.wrapping_mul(0x9e37_79b1) ^ y.wrapping_mul(0x85eb_ca77);
    n ^= n >> 15;
    n = n.wrapping_mul(0x2c1b_3c6d);
    n ^= n >> 12;
    f32::from(u8::try_from(n & 0xff).unwrap_or_default()) / 127.5 - 1.0
}

/// A grey or brown made lighter or darker.
fn shade(base: [f32; 3], light: f32) -> Rgb<u8> {
    Rgb(base.map(|channel| {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped to a byte"
        )]
        let byte = (channel * light).clamp(0.0, 255.0) as u8;
        byte
    }))
}

const WALL: [f32; 3] = [150.0, 152.0, 150.0];
const TIMBER: [f32; 3] = [150.0, 112.0, 74.0];
const IRON: [f32; 3] = [108.0, 106.0, 102.0];
const RUST: [f32; 3] = [134.0, 86.0, 58.0];
const MACHINED: [f32; 3] = [186.0, 188.0, 190.0];
const DARK: [f32; 3] = [38.0, 38.0, 40.0];

/// The picture of a block with so many cylinders.
#[expect(
    clippy::cast_precision_loss,
    reason = "pixels and cylinders are small numbers"
)]
fn drawn(view: View, cylinders: u32) -> RgbImage {
    let (left, right) = (130.0_f32, 830.0_f32);
    let (top, bottom) = match view {
        View::Side => (190.0_f32, 500.0_f32),
        View::Deck => (170.0_f32, 460.0_f32),
    };
    let pitch = (right - left) / cylinders.max(1) as f32;
    RgbImage::from_fn(WIDTH, HEIGHT, |column, row| {
        let (x, y) = (column as f32, row as f32);
        let rough = 1.0 + 0.07 * grain(column, row);
        let inside = x > left && x < right && y > top && y < bottom;
        if !inside {
            // The shadow of the block lies on the timber under it.
            let below = y > bottom && y < bottom + 26.0 && x > left + 12.0 && x < right + 30.0;
            let light = if below { 0.45 } else { 1.0 };
            return if y > 430.0 {
                let board = 1.0 - 0.18 * ((y / 52.0).fract() - 0.5).abs()
                    + 0.05 * grain(column / 40, row / 3);
                shade(TIMBER, light * board * rough)
            } else {
                shade(WALL, (1.12 - y / 1_600.0) * rough)
            };
        }
        let place = ((x - left) / pitch).fract() - 0.5;
        let from_centre = |centre: f32| ((place * pitch).powi(2) + (y - centre).powi(2)).sqrt();
        let edge = (x - left).min(right - x).min(y - top).min(bottom - y);
        match view {
            View::Deck => {
                let middle = (top + bottom) / 2.0;
                let bore = pitch.min(bottom - top) * 0.36;
                let from = from_centre(middle);
                let stud =
                    ((place.abs() - 0.5) * pitch).hypot((y - middle).abs() - (bottom - top) * 0.38);
                if from < bore {
                    shade(DARK, (1.0 + (y - middle) / 220.0) * rough)
                } else if from < bore + 6.0 {
                    shade(MACHINED, 1.15 * rough)
                } else if stud < 9.0 {
                    shade(DARK, rough)
                } else {
                    let lines = 1.0 + 0.03 * (x * 0.9 + y * 0.2).sin();
                    shade(MACHINED, if edge < 5.0 { 0.7 } else { lines * rough })
                }
            }
            View::Side => {
                let plug = from_centre(bottom - 120.0);
                let rib = (place.abs() - 0.5).abs() * pitch;
                let rust = grain(column / 18, row / 14) + 0.5 * grain(column / 5, row / 5) > 0.75;
                let iron = if rust { RUST } else { IRON };
                if y < top + 16.0 {
                    shade(MACHINED, rough)
                } else if plug < 30.0 {
                    shade(MACHINED, (0.75 + (y - bottom + 120.0) / 160.0) * rough)
                } else if plug < 36.0 {
                    shade(DARK, 1.3 * rough)
                } else if rib < 9.0 {
                    shade(iron, 1.25 * rough)
                } else if edge < 4.0 {
                    shade(iron, 0.6)
                } else {
                    shade(iron, (1.1 - (y - top) / 900.0) * rough)
                }
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_deck_shows_its_bores_and_a_picture_reads_back() {
        let deck = drawn(View::Deck, 4);
        // In the middle of the second bore it is dark, between two bores it is bright.
        let brightness = |x, y| {
            deck.get_pixel(x, y)
                .0
                .iter()
                .map(|c| u32::from(*c))
                .sum::<u32>()
        };
        assert!(brightness(392, 300) < 150 && brightness(480, 300) > 400);
        let kept = photo(View::Side, 6, "Left side").unwrap();
        assert!(kept.caption.contains("drawn for the demo"));
        for (bytes, width) in [(&kept.body, WIDTH), (&kept.thumbnail, SMALL)] {
            assert_eq!(image::load_from_memory(bytes).unwrap().width(), width);
        }
    }
}
