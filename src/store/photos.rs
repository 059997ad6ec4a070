//! Photographs: which record names which, and the pictures themselves.

use airmuster_domain::Millis;
use airmuster_domain::record::{Asset, Digest, Photo};
use uuid::Uuid;

use super::error::StoreError;
use super::logbook::{self, Kept};
use super::open::Store;
use super::write::Write;

/// Whose photographs are asked for.
#[derive(Debug, Clone, Copy)]
pub enum PhotosOf<'a> {
    /// Of a thing.
    Asset(&'a Asset),
    /// Taken in the course of a check.
    Run(Uuid),
    /// Of the record with this number.
    Record(i64),
}

/// A record that names a photograph, and whether the picture is there by now.
#[derive(Debug, Clone)]
pub struct Named {
    /// The record.
    pub kept: Kept,
    /// What it says.
    pub photo: Photo,
    /// Whether the picture has arrived.
    pub there: bool,
}

/// A picture as it is kept: made anew, without anything that the camera wrote beside it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// A JPEG.
    pub bytes: Vec<u8>,
}

/// Name, received, width, height, bytes.
type PictureRow = (Vec<u8>, Millis, u32, u32, Vec<u8>);

impl Write {
    pub(super) async fn name_photo(&mut self, photo: &Photo, seq: i64) -> Result<(), StoreError> {
        sqlx::query("insert into photo_named (seq, digest, asset, run) values ($1, $2, $3, $4)")
            .bind(seq)
            .bind(&photo.photo.0[..])
            .bind(photo.asset.to_string())
            .bind(photo.run.map(|r| r.hyphenated().to_string()))
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Keeps a picture under the SHA-256 of the bytes that were sent. Sent again, it stays as it is.
    pub async fn keep_picture(
        &mut self,
        digest: &Digest,
        picture: &Picture,
        received: Millis,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "insert into photo (digest, received_at, width, height, bytes) values ($1, $2, $3, $4, $5)
             on conflict (digest) do nothing",
        )
        .bind(&digest.0[..])
        .bind(received)
        .bind(picture.width)
        .bind(picture.height)
        .bind(&picture.bytes)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }
}

impl Store {
    /// Whether a record names this photograph, and whether its picture is there.
    pub async fn knows_photo(&self, digest: &Digest) -> Result<(bool, bool), StoreError> {
        Ok(sqlx::query_as(
            "select exists (select 1 from photo_named where digest = $1),
                    exists (select 1 from photo where digest = $1)",
        )
        .bind(&digest.0[..])
        .fetch_one(&self.read)
        .await?)
    }

    /// The picture that comes after this one by its name, with when it was received: to go through
    /// all of them with one in memory.
    pub async fn picture_after(
        &self,
        digest: Option<&Digest>,
    ) -> Result<Option<(Digest, Millis, Picture)>, StoreError> {
        let row: Option<PictureRow> = sqlx::query_as(
            "select digest, received_at, width, height, bytes from photo
             where digest > $1 order by digest limit 1",
        )
        .bind(digest.map_or(&[][..], |d| &d.0[..]))
        .fetch_optional(&self.read)
        .await?;
        row.map(|(digest, received, width, height, bytes)| {
            Ok((
                logbook::digest_of(&digest, "photo", "a picture")?,
                received,
                Picture { width, height, bytes },
            ))
        })
        .transpose()
    }

    /// The picture that was sent with this SHA-256.
    pub async fn picture(&self, digest: &Digest) -> Result<Option<Picture>, StoreError> {
        let row: Option<(u32, u32, Vec<u8>)> =
            sqlx::query_as("select width, height, bytes from photo where digest = $1")
                .bind(&digest.0[..])
                .fetch_optional(&self.read)
                .await?;
        Ok(row.map(|(width, height, bytes)| Picture { width, height, bytes }))
    }

    /// The photographs of something, newest first, at most `count`.
    pub async fn photos(&self, of: PhotosOf<'_>, count: i64) -> Result<Vec<Named>, StoreError> {
        let (sql, of) = match of {
            PhotosOf::Asset(asset) => (
                "select seq, exists (select 1 from photo p where p.digest = n.digest)
                 from photo_named n where asset = $1 order by seq desc limit $2",
                asset.to_string(),
            ),
            PhotosOf::Run(run) => (
                "select seq, exists (select 1 from photo p where p.digest = n.digest)
                 from photo_named n where run = $1 order by seq desc limit $2",
                run.hyphenated().to_string(),
            ),
            PhotosOf::Record(seq) => (
                "select seq, exists (select 1 from photo p where p.digest = n.digest)
                 from photo_named n where seq = cast($1 as integer) limit $2",
                seq.to_string(),
            ),
        };
        let mut conn = self.read.acquire().await?;
        let rows: Vec<(i64, bool)> = sqlx::query_as(sql).bind(of).bind(count).fetch_all(&mut *conn).await?;
        let mut out = Vec::with_capacity(rows.len());
        for (seq, there) in rows {
            let Some(kept) = logbook::by_seq(&mut conn, seq).await? else { continue };
            if let Some(photo) = kept.record.photo().cloned() {
                out.push(Named { kept, photo, there });
            }
        }
        Ok(out)
    }
}
