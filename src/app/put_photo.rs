//! Photographs of a casting: kept in the database or as files in a folder, shown, and removed. In a folder the files are
//! written before the row and removed after it, so that a row never points at nothing.

use super::{Actor, AppError, Refusal, once};
use crate::db::DbError;
use crate::db::api_requests::Keyed;
use crate::db::casting_records::{self, MOST_PHOTOS, NewPhoto, PhotoPlace};
use crate::db::people::Role;
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// The files of a photograph in a folder: the picture and the small one.
fn files(folder: &Path, shop_id: Uuid, id: Uuid) -> (PathBuf, PathBuf) {
    let shop = folder.join(shop_id.simple().to_string());
    (
        shop.join(format!("{}.jpg", id.simple())),
        shop.join(format!("{}-small.jpg", id.simple())),
    )
}

/// What went wrong with a file of a photograph.
fn file(error: std::io::Error) -> AppError {
    AppError::failed("file of a photograph", error)
}

/// Keeps a photograph, once under a key, and returns its key. Whoever has the casting in hand may add one.
///
/// # Errors
/// [`Refusal::TooManyPhotos`]; [`AppError::KeyUsed`]; [`AppError::Failed`] when its file cannot be written; [`AppError::Db`], as
/// [`DbError::NotFound`] when there is no such casting.
pub async fn put(
    actor: &Actor,
    place: &PhotoPlace,
    casting_id: Uuid,
    photo: &NewPhoto,
    keyed: Option<&Keyed>,
) -> Result<Uuid, AppError> {
    let mut tx = actor.begin().await?;
    if let Some(before) = once::made(&mut tx, keyed).await? {
        return Ok(before);
    }
    if casting_records::count_photos(&mut tx, casting_id).await? >= MOST_PHOTOS {
        return Err(Refusal::TooManyPhotos { most: MOST_PHOTOS }.into());
    }
    let id = Uuid::now_v7();
    let in_database = match place {
        PhotoPlace::Database => true,
        PhotoPlace::Folder(folder) => {
            let (large, small) = files(folder, tx.shop_id(), id);
            if let Some(shop) = large.parent() {
                tokio::fs::create_dir_all(shop).await.map_err(file)?;
            }
            tokio::fs::write(&large, &photo.body).await.map_err(file)?;
            tokio::fs::write(&small, &photo.thumbnail)
                .await
                .map_err(file)?;
            false
        }
    };
    casting_records::add_photo(&mut tx, id, casting_id, photo, in_database).await?;
    once::finish(tx, id, keyed).await
}

/// The body of a photograph, or its small one, as JPEG. One that was kept in the database is found there whatever the
/// setting says now.
///
/// # Errors
/// [`AppError::Failed`] when its file cannot be read; [`AppError::Db`], as [`DbError::NotFound`] when it, or its file, is
/// not there.
pub async fn body(
    actor: &Actor,
    place: &PhotoPlace,
    casting_id: Uuid,
    id: Uuid,
    small: bool,
) -> Result<Vec<u8>, AppError> {
    let gone = || AppError::Db(DbError::NotFound("this photograph’s file"));
    let mut tx = actor.begin().await?;
    let body = casting_records::photo_body(&mut tx, casting_id, id, small).await?;
    match (body, place) {
        (Some(body), _) => Ok(body),
        (None, PhotoPlace::Folder(folder)) => {
            let (large, little) = files(folder, actor.shop_id(), id);
            let path = if small { little } else { large };
            match tokio::fs::read(path).await {
                Err(error) if error.kind() == std::io::ErrorKind::NotFound => Err(gone()),
                other => other.map_err(file),
            }
        }
        (None, PhotoPlace::Database) => Err(gone()),
    }
}

/// Removes a photograph, for the office. Returns its files, if it has some, for [`remove_files`].
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`DbError::NotFound`].
pub async fn remove(
    actor: &Actor,
    place: &PhotoPlace,
    casting_id: Uuid,
    id: Uuid,
) -> Result<Vec<PathBuf>, AppError> {
    let in_database = actor
        .transact(Role::Office, async |tx| {
            Ok(casting_records::remove_photo(tx, casting_id, id).await?)
        })
        .await?;
    Ok(match place {
        PhotoPlace::Folder(folder) if !in_database => {
            let (large, small) = files(folder, actor.shop_id(), id);
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
