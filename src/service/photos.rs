//! Photographs of damage: taken in once a record names them, and made anew, so that where and with
//! what they were taken is gone.

use std::io::Cursor;
use std::sync::Arc;

use airmuster_domain::record::Digest;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageDecoder as _, ImageFormat, ImageReader, Limits};
use tokio::sync::Semaphore;

use crate::clock::Clock;
use crate::store::{Picture, Store, StoreError};

/// The largest picture taken, in bytes: 8 MB. A tablet scales its own down to about 0.4 MB.
pub const LARGEST: usize = 8 * 1024 * 1024;
/// The longest side that is kept, in pixels.
const LONGEST_SIDE: u32 = 1600;
/// Pixels at most: what large cameras make. A small file can claim to hold far more.
const MOST_PIXELS: u64 = 50_000_000;
/// A side at most, in pixels.
const MOST_ACROSS: u32 = 16_000;
/// What decoding may take of the memory, in bytes.
const MOST_MEMORY: u64 = 400 * 1024 * 1024;
/// Of 100: small, and still good enough to see a crack by.
const QUALITY: u8 = 82;

/// Why a picture was not taken.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// No record names it.
    #[error("no record names this photo yet; hand the record in first")]
    NotNamed,
    /// Other bytes than the address says.
    #[error("these are not the bytes that the address names by their SHA-256; send it again")]
    OtherBytes,
    /// Too large.
    #[error("a photo has at most 8 MB; make it smaller and send it again")]
    TooLarge,
    /// Not one of the three kinds.
    #[error("only JPEG, PNG and WebP pictures are taken")]
    OtherKind,
    /// Too many pixels.
    #[error("this picture claims {0} × {1} pixels; make it smaller and send it again")]
    TooManyPixels(u32, u32),
    /// Cut short or broken.
    #[error("this picture cannot be read; take it again")]
    Unreadable,
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Takes pictures in. Cheap to clone; one is decoded at a time.
#[derive(Debug, Clone)]
pub struct Photos {
    store: Store,
    clock: Clock,
    worker: Arc<Semaphore>,
}

impl Photos {
    /// Pictures of this store.
    pub fn new(store: Store, clock: Clock) -> Self {
        Self { store, clock, worker: Arc::new(Semaphore::new(1)) }
    }

    /// Takes a picture in that a record names. Sent again, it is there already.
    ///
    /// # Errors
    /// See [`PhotoError`]; nothing was kept then.
    pub async fn take(&self, digest: Digest, bytes: Vec<u8>) -> Result<(), PhotoError> {
        let (named, there) = self.store.knows_photo(&digest).await?;
        if !named {
            return Err(PhotoError::NotNamed);
        }
        if there {
            return Ok(());
        }
        let picture = self.made_anew(digest, bytes).await?;
        self.keep(&digest, &picture).await
    }

    /// Keeps a picture under its name.
    pub async fn keep(&self, digest: &Digest, picture: &Picture) -> Result<(), PhotoError> {
        let mut write = self.store.begin().await?;
        write.keep_picture(digest, picture, self.clock.now()).await?;
        write.commit().await?;
        Ok(())
    }

    /// The picture in these bytes, whose SHA-256 this is, made anew.
    pub async fn made_anew(&self, digest: Digest, bytes: Vec<u8>) -> Result<Picture, PhotoError> {
        if bytes.len() > LARGEST {
            return Err(PhotoError::TooLarge);
        }
        let _turn = self.worker.acquire().await.map_err(|_| PhotoError::Unreadable)?;
        tokio::task::spawn_blocking(move || {
            if Digest::of(&bytes) != digest {
                return Err(PhotoError::OtherBytes);
            }
            anew(&bytes)
        })
        .await
        // A decoder that gave up in the middle has read something that is no picture.
        .map_err(|_| PhotoError::Unreadable)?
    }
}

/// Decodes a picture within the limits, turns it upright, scales it down and encodes it again.
///
/// # Errors
/// When it is of another kind, too large, or broken.
pub fn anew(bytes: &[u8]) -> Result<Picture, PhotoError> {
    let format = image::guess_format(bytes).map_err(|_| PhotoError::OtherKind)?;
    if !matches!(format, ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP) {
        return Err(PhotoError::OtherKind);
    }
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|_| PhotoError::Unreadable)?;
    let (width, height) = decoder.dimensions();
    if width > MOST_ACROSS || height > MOST_ACROSS || u64::from(width) * u64::from(height) > MOST_PIXELS {
        return Err(PhotoError::TooManyPixels(width, height));
    }
    // How the camera was held stands beside the picture and goes with the rest of that.
    let orientation = decoder.orientation().map_err(|_| PhotoError::Unreadable)?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(|_| PhotoError::Unreadable)?;
    picture.apply_orientation(orientation);
    if picture.width().max(picture.height()) > LONGEST_SIDE {
        picture = picture.resize(LONGEST_SIDE, LONGEST_SIDE, FilterType::Triangle);
    }
    let picture = picture.into_rgb8();
    let mut out = Vec::new();
    JpegEncoder::new_with_quality(&mut out, QUALITY)
        .encode_image(&picture)
        .map_err(|_| PhotoError::Unreadable)?;
    Ok(Picture { width: picture.width(), height: picture.height(), bytes: out })
}
