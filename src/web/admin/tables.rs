//! A department's own data from tables, and the tables to fill in.

use axum::extract::{Multipart, Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::service::Origin;
use crate::service::exchange::{ALL, Dates, ExchangeError, Plan, Problem, Template};
use crate::web::auth::Visitor;
use crate::web::error::WebError;
use crate::web::html::{Again, Html};
use crate::web::present::page;
use crate::web::serving::App;
use crate::web::view::tables::{Blank, Hint, TableProblem, Tables};

/// `GET /register/import`.
pub async fn show_form(State(app): State<App>, visitor: Visitor) -> Result<Html<Tables>, WebError> {
    Ok(Html(view(&app, &visitor, Dates::Unsaid).await?))
}

/// `GET /register/import/{table}`: a table to fill in.
pub async fn show_blank(Path(table): Path<String>) -> Result<Response, WebError> {
    let template = ALL.iter().find(|t| t.file() == table).ok_or(WebError::NotFound)?;
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{}\"", template.file())),
    ];
    Ok((headers, template.blank()).into_response())
}

/// `POST /register/import`: looks through what was chosen, and takes it in if nothing is wrong and
/// more than looking was asked for.
pub async fn take_files(
    State(app): State<App>,
    visitor: Visitor,
    mut parts: Multipart,
) -> Result<Response, WebError> {
    let member = visitor.member.clone().ok_or(WebError::Forbidden)?;
    let (mut files, mut dates, mut only_look) = (Vec::new(), Dates::Unsaid, true);
    while let Some(part) = parts.next_field().await.map_err(|_| WebError::Unreadable)? {
        let (field, file) = (part.name().map(str::to_owned), part.file_name().map(str::to_owned));
        let bytes = part.bytes().await.map_err(|_| WebError::Unreadable)?.to_vec();
        match (field.as_deref(), file) {
            // A form without a file sends an empty one without a name.
            (Some("files"), Some(name)) if !name.is_empty() => files.push((name, bytes)),
            (Some("dates"), _) => dates = dates_of(&bytes),
            (Some("act"), _) => only_look = bytes != b"take",
            _ => {}
        }
    }
    let mut view = view(&app, &visitor, dates).await?;
    if files.is_empty() {
        "Choose the tables first.".clone_into(&mut view.say);
        return Ok(Again(view).into_response());
    }
    let plan = Plan::of(&app.store, app.clock.now(), dates, &files).await?;
    if !plan.problems().is_empty() {
        "Nothing was taken in. Put this right in the tables, then choose them again."
            .clone_into(&mut view.say);
        let problem = |p: &Problem| TableProblem { place: p.place(), say: p.say.clone() };
        view.problems = plan.problems().iter().map(problem).collect();
        return Ok(Again(view).into_response());
    }
    view.done = if plan.is_empty() {
        format!("All of it is there already: {plan}.")
    } else if only_look {
        format!("Nothing is wrong. Taken in, it would be: {plan}.")
    } else {
        let words = plan.to_string();
        match plan.take_in(&app.intake, &app.clock, Some(&member.id), &Origin::Desk).await {
            Ok(()) => format!("Taken in: {words}."),
            Err(ExchangeError::Store(e)) => return Err(e.into()),
            Err(ExchangeError::Refused(e)) => return Err(e.into()),
        }
    };
    Ok(Html(view).into_response())
}

fn dates_of(chosen: &[u8]) -> Dates {
    match chosen {
        b"day" => Dates::DayFirst,
        b"month" => Dates::MonthFirst,
        _ => Dates::Unsaid,
    }
}

async fn view(app: &App, visitor: &Visitor, dates: Dates) -> Result<Tables, WebError> {
    let blank = |t: &&Template| Blank {
        file: t.file(),
        about: t.about.to_owned(),
        columns: t
            .columns
            .iter()
            .map(|c| Hint { name: c.name.to_owned(), required: c.required, help: c.help.to_owned() })
            .collect(),
    };
    Ok(Tables {
        page: page(app, visitor, "The department’s data from tables").await?,
        say: String::new(),
        done: String::new(),
        problems: Vec::new(),
        day_first: dates == Dates::DayFirst,
        month_first: dates == Dates::MonthFirst,
        blanks: ALL.iter().map(blank).collect(),
    })
}
