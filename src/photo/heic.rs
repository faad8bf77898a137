//! HEIC: the container's own turning is applied once, every coded picture's size is checked beforehand, and the sample
//! range and colour matrix come from the container or, as phones do it, from the coded picture.

use super::decode::{MAX_PIXELS, check_size};
use super::error::{PhotoError, PhotoFormat};
use super::hevc_colour;
use heic_rs::context::Context;
use heic_rs::props::ItemProps;
use heic_rs::{Error, PixelLayout, color, grid, hevc, transform};
use image::{ImageBuffer, RgbImage};

/// Decoding on the caller's own thread.
const THREADS: Option<usize> = Some(1);

/// Whether a file that begins with an `ftyp` box says it holds HEIF pictures. AVIF, which is recognised but can't be
/// decoded, counts.
pub(super) fn is_heif(bytes: &[u8]) -> bool {
    heic_rs::ftyp::parse(bytes).is_ok() || matches!(bytes.get(8..12), Some(b"avif" | b"avis"))
}

/// The primary picture, upright.
pub(super) fn decode(bytes: &[u8]) -> Result<RgbImage, PhotoError> {
    let info = heic_rs::probe(bytes).map_err(cause)?;
    check_size(info.width, info.height)?;
    check_size(info.coded_width, info.coded_height)?;
    primary_picture(&Context::open(bytes).map_err(cause)?)
}

fn primary_picture(context: &Context<'_>) -> Result<RgbImage, PhotoError> {
    let primary = context.meta.primary;
    let properties = context.props(primary).map_err(cause)?;
    let grid = context.grid(primary).map_err(cause)?;
    let coded = match &grid {
        Some((_, tiles)) => {
            tiles.iter().map(|tile| context.props(*tile)).collect::<Result<Vec<_>, _>>().map_err(cause)?
        }
        None => vec![properties.clone()],
    };
    check_coded_sizes(&coded)?;
    let nclx = properties.nclx.or(coded.first().and_then(|c| c.nclx));
    let nclx = nclx.or_else(|| hevc_colour::stated(coded.first()?.hvcc.as_ref()?)).unwrap_or(hevc_colour::UNSTATED);

    let frame = match &grid {
        Some((grid, tiles)) => {
            let frames = tiles.iter().zip(&coded).map(|(tile, p)| coded_picture(context, *tile, p));
            grid::compose(grid, &frames.collect::<Result<Vec<_>, _>>()?, MAX_PIXELS).map_err(cause)?
        }
        None => coded_picture(context, primary, &properties)?,
    };
    let picture = color::convert(&frame, None, nclx, PixelLayout::Rgb8, MAX_PIXELS, THREADS).map_err(cause)?;
    drop(frame);
    let picture = transform::apply_all(picture, &properties.transforms).map_err(cause)?;
    ImageBuffer::from_raw(picture.width, picture.height, picture.data).ok_or(PhotoError::Damaged(PhotoFormat::Heic))
}

fn coded_picture(context: &Context<'_>, item: u32, properties: &ItemProps<'_>) -> Result<hevc::Frame, PhotoError> {
    let config = properties.hvcc.as_ref().ok_or(PhotoError::Damaged(PhotoFormat::Heic))?;
    let data = context.item_data(item).map_err(cause)?;
    let slices = config.split_nals(&data).map_err(cause)?;
    let frame = hevc::decode_still(&config.parameter_sets(), &slices).map_err(cause)?;
    frame.validate().map_err(cause)?;
    Ok(frame)
}

/// The tiles of a grid state their sizes once more in their own parameter sets, which is what memory is taken for:
/// together they may not exceed the largest picture by more than a half, for the tiles that stick out over its edges.
fn check_coded_sizes(coded: &[ItemProps<'_>]) -> Result<(), PhotoError> {
    let mut pixels = 0u64;
    for properties in coded {
        let config = properties.hvcc.as_ref().ok_or(PhotoError::Damaged(PhotoFormat::Heic))?;
        let size = hevc::probe(&config.parameter_sets()).map_err(cause)?;
        pixels = pixels.saturating_add(u64::from(size.width) * u64::from(size.height));
        if pixels > MAX_PIXELS + MAX_PIXELS / 2 {
            return Err(PhotoError::TooLarge { width_px: size.width, height_px: size.height });
        }
    }
    Ok(())
}

fn cause(error: Error) -> PhotoError {
    match error {
        Error::Truncated(_) => PhotoError::Truncated(PhotoFormat::Heic),
        Error::Unsupported(_) => PhotoError::Unsupported(PhotoFormat::Heic),
        _ => PhotoError::Damaged(PhotoFormat::Heic),
    }
}
