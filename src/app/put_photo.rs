//! Photographs of a casting: kept in the database or as files in a folder, shown, and removed. In a folder the files are
//! written before the row and removed after it, so that a row never points at nothing.

use crate::db::casting_records::{self, MOST_PHOTOS, NewPhoto, PhotoPlace};
use crate::db::{DbError, ShopTx};
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// Why a photograph was not kept, shown or removed.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// The casting has [`MOST_PHOTOS`] already.
    #[error("the casting has {MOST_PHOTOS} photographs already")]
    TooMany,
    /// A file could not be written or read.
    #[error("file of a photograph: {0}")]
    File(#[from] std::io::Error),
    /// From the database.
    #[error(transparent)]
    Db(#[from] DbError),
}

/// The files of a photograph in a folder: the picture and the small one.
fn files(folder: &Path, shop_id: Uuid, id: Uuid) -> (PathBuf, PathBuf) {
    let shop = folder.join(shop_id.simple().to_string());
    (
        shop.join(format!("{}.jpg", id.simple())),
        shop.join(format!("{}-small.jpg", id.simple())),
    )
}

/// Keeps a photograph and returns its key.
///
/// # Errors
/// [`PhotoError`]; [`DbError::NotFound`] when there is no such casting.
pub async fn put(
    tx: &mut ShopTx,
    place: &PhotoPlace,
    casting_id: Uuid,
    photo: &NewPhoto,
) -> Result<Uuid, PhotoError> {
    if casting_records::count_photos(tx, casting_id).await? >= MOST_PHOTOS {
        return Err(PhotoError::TooMany);
    }
    let id = Uuid::now_v7();
    let in_database = match place {
        PhotoPlace::Database => true,
        PhotoPlace::Folder(folder) => {
            let (large, small) = files(folder, tx.shop_id(), id);
            if let Some(shop) = large.parent() {
                tokio::fs::create_dir_all(shop).await?;
            }
            tokio::fs::write(&large, &photo.body).await?;
            tokio::fs::write(&small, &photo.thumbnail).await?;
            false
        }
    };
    casting_records::add_photo(tx, id, casting_id, photo, in_database).await?;
    Ok(id)
}

/// The body of a photograph, or its small one, as JPEG. One that was kept in the database is found there whatever the
/// setting says now.
///
/// # Errors
/// [`DbError::NotFound`], [`PhotoError::File`], [`DbError::Database`].
pub async fn body(
    tx: &mut ShopTx,
    place: &PhotoPlace,
    casting_id: Uuid,
    id: Uuid,
    small: bool,
) -> Result<Vec<u8>, PhotoError> {
    let gone = || PhotoError::Db(DbError::NotFound("this photograph’s file"));
    let body = casting_records::photo_body(tx, casting_id, id, small).await?;
    match (body, place) {
        (Some(body), _) => Ok(body),
        (None, PhotoPlace::Folder(folder)) => {
            let (large, little) = files(folder, tx.shop_id(), id);
            let file = if small { little } else { large };
            match tokio::fs::read(file).await {
                Err(error) if error.kind() == std::io::ErrorKind::NotFound => Err(gone()),
                other => Ok(other?),
            }
        }
        (None, PhotoPlace::Database) => Err(gone()),
    }
}

/// Removes a photograph. Returns its files, if it has some, for [`remove_files`] once the transaction is committed.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn remove(
    tx: &mut ShopTx,
    place: &PhotoPlace,
    casting_id: Uuid,
    id: Uuid,
) -> Result<Vec<PathBuf>, DbError> {
    let in_database = casting_records::remove_photo(tx, casting_id, id).await?;
    Ok(match place {
        PhotoPlace::Folder(folder) if !in_database => {
            let (large, small) = files(folder, tx.shop_id(), id);
            vec![large, small]
        }
        _ => Vec::new(),
    })
}

/// Removes files of photographs; one that is gone already is no trouble. Every one is tried.
///
/// # Errors
/// The first trouble there was.
pub async fn remove_files(files: &[PathBuf]) -> Result<(), std::io::Error> {
    let mut first = Ok(());
    for file in files {
        match tokio::fs::remove_file(file).await {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                first = first.and(Err(error));
            }
            _ => {}
        }
    }
    first
}
