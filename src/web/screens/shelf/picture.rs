//! A photograph as it was sent made into one that can be kept: told by its content, turned upright, made no larger than
//! it needs to be and written anew, so that nothing else that stood in the file (place, camera, a hidden page) is left.

use crate::db::casting_records::NewPhoto;
use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};
use std::io::Cursor;

/// Largest file that is read, in bytes.
pub(in crate::web) const LARGEST: usize = 12 * 1024 * 1024;
/// Longest side of what is kept, in pixels.
const SIDE: u32 = 2_000;
/// Longest side of a small one.
const SMALL_SIDE: u32 = 320;
/// Longest side of what is read, in pixels.
const READ_SIDE: u32 = 12_000;
/// Most pixels of what is read: more than cameras and telephones make by themselves.
const MOST_PIXELS: u64 = 50_000_000;
/// Memory for the pixels of one, in bytes: of the most there are, eight each.
const MEMORY: u64 = 8 * MOST_PIXELS;
/// Memory for what is made of one, in bytes: pictures of the longest side, four bytes a pixel, three of them at once.
const KEPT: u64 = 3 * 4 * (SIDE as u64) * (SIDE as u64);
/// JPEG quality of 100.
const QUALITY: u8 = 85;

/// Looks at what a file says of itself, without reading its picture: how much memory, in bytes, reading it takes at most.
///
/// # Errors
/// Words for whoever sent it.
pub(super) fn memory(bytes: &[u8]) -> Result<u64, String> {
    let (kind, decoder) = decoder(bytes)?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels > MOST_PIXELS {
        let most = MOST_PIXELS / 1_000_000;
        return Err(format!(
            "This photograph has more than {most} million pixels. Make it smaller and choose it again"
        ));
    }
    // Beside the pixels, decoders hold: all coefficients of a progressive JPEG, three of two bytes for a pixel; the planes
    // of a lossy WebP or the colours of a lossless one, four bytes at most.
    let beside = match kind {
        ImageFormat::Jpeg => 6 * pixels,
        ImageFormat::WebP => 4 * pixels,
        _ => 0,
    };
    Ok(decoder.total_bytes() + beside + KEPT)
}

/// Makes a photograph of the bytes of a file.
///
/// # Errors
/// Words for whoever sent it.
pub(super) fn keep(bytes: &[u8], caption: String) -> Result<NewPhoto, String> {
    memory(bytes)?;
    let (_, mut decoder) = decoder(bytes)?;
    let orientation = decoder.orientation().map_err(unreadable)?;
    let picture = DynamicImage::from_decoder(decoder).map_err(unreadable)?;
    // Made small first, so that turning it takes little memory.
    let mut picture = shrunk(picture, SIDE);
    picture.apply_orientation(orientation);
    let small = shrunk(picture.clone(), SMALL_SIDE);
    Ok(NewPhoto {
        caption,
        width: picture.width(),
        height: picture.height(),
        body: jpeg(&picture)?,
        thumbnail: jpeg(&small)?,
    })
}

fn unreadable(_: ImageError) -> String {
    "This photograph is damaged and cannot be read".to_owned()
}

fn decoder(bytes: &[u8]) -> Result<(ImageFormat, impl ImageDecoder), String> {
    let kind = image::guess_format(bytes).ok();
    let Some(kind @ (ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP)) = kind else {
        return Err("This is not a photograph. Choose a JPEG, PNG or WebP file".to_owned());
    };
    let mut reader = ImageReader::with_format(Cursor::new(bytes), kind);
    let mut limits = Limits::default();
    limits.max_image_width = Some(READ_SIDE);
    limits.max_image_height = Some(READ_SIDE);
    limits.max_alloc = Some(MEMORY);
    reader.limits(limits);
    let decoder = reader.into_decoder().map_err(|error| match error {
        ImageError::Limits(_) => {
            format!("This photograph is more than {READ_SIDE} pixels wide or high")
        }
        other => unreadable(other),
    })?;
    Ok((kind, decoder))
}

/// No larger than a side; never made larger.
fn shrunk(picture: DynamicImage, side: u32) -> DynamicImage {
    if picture.width() <= side && picture.height() <= side {
        picture
    } else {
        picture.thumbnail(side, side)
    }
}

fn jpeg(picture: &DynamicImage) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    // JPEG knows no transparency.
    DynamicImage::from(picture.to_rgb8())
        .write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, QUALITY))
        .map_err(|error| format!("This photograph cannot be kept: {error}"))?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgba, RgbaImage};

    fn file(width: u32, height: u32, format: ImageFormat) -> Vec<u8> {
        let picture = RgbaImage::from_fn(width, height, |x, _| {
            Rgba([if x < width / 2 { 250 } else { 5 }, 5, 5, 255])
        });
        let picture = match format {
            ImageFormat::Jpeg => DynamicImage::from(DynamicImage::from(picture).to_rgb8()),
            _ => DynamicImage::from(picture),
        };
        let mut bytes = Cursor::new(Vec::new());
        picture.write_to(&mut bytes, format).unwrap();
        bytes.into_inner()
    }

    /// An EXIF segment (APP1) that says the picture was taken with the camera turned (orientation 6: turn it a quarter
    /// clockwise) and where: Exif 2.32 by CIPA DC-008, 4.5.4, laid out by hand.
    fn with_exif(jpeg: &[u8]) -> Vec<u8> {
        let mut tiff = Vec::from(*b"MM\0\x2a\0\0\0\x08");
        tiff.extend([0, 1]); // one field
        tiff.extend([0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, 6, 0, 0]); // Orientation, SHORT, 6
        tiff.extend([0, 0, 0, 0]);
        tiff.extend(*b"SECRET PLACE 51.5N");
        let mut segment = Vec::from(*b"Exif\0\0");
        segment.extend(tiff);
        let length = u16::try_from(segment.len() + 2).unwrap().to_be_bytes();
        let mut out = jpeg[..2].to_vec();
        out.extend([0xff, 0xe1]);
        out.extend(length);
        out.extend(segment);
        out.extend(&jpeg[2..]);
        out
    }

    #[test]
    fn a_photograph_is_turned_upright_and_tells_nothing_else() {
        let sent = with_exif(&file(400, 200, ImageFormat::Jpeg));
        assert!(sent.windows(12).any(|w| w == b"SECRET PLACE"));
        let kept = keep(&sent, "Left side".to_owned()).unwrap();
        assert_eq!((kept.width, kept.height), (200, 400));
        for bytes in [&kept.body, &kept.thumbnail] {
            assert_eq!(image::guess_format(bytes).unwrap(), ImageFormat::Jpeg);
            assert!(!bytes.windows(4).any(|w| w == b"Exif" || w == b"SECR"));
        }
        // What was on the left is on top after a quarter turn clockwise.
        let upright = image::load_from_memory(&kept.body).unwrap().to_rgb8();
        assert!(upright.get_pixel(100, 50)[0] > 200 && upright.get_pixel(100, 350)[0] < 60);
    }

    #[test]
    fn large_ones_are_shrunk_and_small_ones_are_not_grown() {
        let kept = keep(&file(3_000, 1_000, ImageFormat::Png), String::new()).unwrap();
        assert_eq!(kept.width, 2_000);
        let small = image::load_from_memory(&kept.thumbnail).unwrap();
        assert_eq!(small.width(), 320);
        let kept = keep(&file(40, 30, ImageFormat::WebP), String::new()).unwrap();
        assert_eq!((kept.width, kept.height), (40, 30));
    }

    #[test]
    fn what_is_no_photograph_is_refused_whatever_it_is_called() {
        let svg = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>";
        for bytes in [
            &b""[..],
            &svg[..],
            b"%PDF-1.7",
            b"GIF89a\x01\0\x01\0",
            b"MZ\x90\0",
        ] {
            let why = keep(bytes, String::new()).unwrap_err();
            assert!(why.contains("not a photograph"), "{why}");
        }
        let whole = file(300, 300, ImageFormat::Jpeg);
        let torn = keep(&whole[..60], String::new()).unwrap_err();
        assert!(torn.contains("damaged"), "{torn}");
        // A file of a few bytes that says it is vast.
        let mut vast = file(10, 10, ImageFormat::Png);
        vast[16..24].copy_from_slice(&[0, 0, 0x9c, 0x40, 0, 0, 0x9c, 0x40]);
        assert!(keep(&vast, String::new()).is_err());
    }
}
