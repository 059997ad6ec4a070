//! Every route in one list, with who may call it. What is not here is denied.

use airmuster_domain::role::Role;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::Method;
use axum::middleware;
use axum::routing::{MethodRouter, get, post, put};

use super::auth::{self, Who, guard};
use super::serving::App;
use super::{admin, api, assets, bench, crew, layers, lists, officer, offline, photos, reading, upkeep};

/// A line of the list.
pub struct Route {
    /// GET, POST or PUT.
    pub method: Method,
    /// The path, with `{names}`.
    pub path: &'static str,
    /// Who may.
    pub who: Who,
    /// Whether the page may be shown again as it was rendered: nothing in it is made for one request alone.
    shelved: bool,
    handler: MethodRouter<App>,
}

const OFFICER: Who = Who::Roles(&[Role::Officer, Role::Administrator]);
const ADMIN: Who = Who::Roles(&[Role::Administrator]);
const BENCH: Who = Who::Roles(bench::BENCH);
const READER: Who = Who::Reader(reading::READERS);
const TECHNICIAN: Who = Who::Roles(&[Role::Technician]);
/// Anybody who has signed in.
const MEMBER: Who = Who::Roles(&Role::ALL);
const RETIRE: Who = Who::Roles(&[Role::Technician, Role::Administrator]);

/// The list.
#[expect(clippy::too_many_lines, reason = "it is a list, and is read as one")]
pub fn list() -> Vec<Route> {
    use Who::{Anyone, Bearer, FirstStart, Tablet};
    let show = |path, who, handler| Route { method: Method::GET, path, who, shelved: false, handler };
    let shelved = |path, who, handler| Route { shelved: true, ..show(path, who, handler) };
    let send = |path, who, handler| Route { method: Method::POST, ..show(path, who, handler) };
    vec![
        show("/healthz", Anyone, get(api::show_health)),
        show("/readyz", Anyone, get(api::show_ready)),
        show("/static/{*path}", Anyone, get(assets::show_file)),
        show("/sw.js", Anyone, get(offline::show_worker)),
        show("/offline/list", Tablet, get(offline::show_list)),
        show("/unsent", Anyone, get(offline::show_unsent)),
        show("/sign-in", Anyone, get(auth::show_sign_in)),
        send("/sign-in", Anyone, post(auth::sign_in)),
        send("/sign-out", Anyone, post(auth::sign_out)),
        send("/settings/gloves", Anyone, post(auth::set_gloves)),
        show("/enrol", Anyone, get(auth::show_enrol)),
        send("/enrol", Anyone, post(auth::enrol)),
        show("/first-start", FirstStart, get(auth::show_first)),
        send("/first-start", FirstStart, post(auth::take_first)),
        // Programs that read, and lists as files.
        show("/api/v1/openapi.json", Anyone, get(reading::describe)),
        show("/api/v1/stations", READER, get(reading::stations)),
        show("/api/v1/rigs", READER, get(reading::rigs)),
        show("/api/v1/seats", READER, get(reading::seats)),
        show("/api/v1/units", READER, get(reading::units)),
        show("/api/v1/units/{number}", READER, get(reading::unit)),
        show("/api/v1/checks", READER, get(reading::checks)),
        show("/api/v1/tickets", READER, get(reading::tickets)),
        show("/lists/{file}", Who::Roles(reading::READERS), get(lists::show_list)),
        show("/tokens", ADMIN, get(admin::tokens::show_list)),
        send("/tokens", ADMIN, post(admin::tokens::make)),
        send("/tokens/{token}/revoke", ADMIN, post(admin::tokens::revoke)),
        show("/api/v1/head", Anyone, get(api::show_head)),
        send("/api/v1/records", Bearer, post(api::take_records)),
        Route {
            method: Method::PUT,
            path: "/api/v1/photos/{digest}",
            who: Tablet,
            shelved: false,
            handler: put(photos::take_photo).layer(DefaultBodyLimit::max(photos::LARGEST_BODY)),
        },
        show("/photos/{digest}", Tablet, get(photos::show_photo)),
        // The crew, on a shared tablet: whoever signs gives a PIN with the record.
        show("/", Tablet, get(crew::board::show_start)),
        show("/stations", Tablet, get(crew::board::show_stations)),
        shelved("/stations/{station}", Tablet, get(crew::board::show_board)),
        show("/units/{unit}/check", Tablet, get(crew::check::show_form)),
        send("/units/{unit}/check", Tablet, post(crew::check::take_form)),
        send("/units/{unit}/check/sign", Tablet, post(crew::sign::sign_check)),
        show("/records/{seq}/verdict", Tablet, get(crew::verdict::show_verdict)),
        shelved("/units/{unit}", Tablet, get(crew::unit::show_unit)),
        show("/units/{unit}/tag", Tablet, get(crew::unit::show_tag)),
        show("/units/{unit}/out", Tablet, get(crew::out::show_form)),
        send("/units/{unit}/out", Tablet, post(crew::out::take_out)),
        show("/rigs/{rig}/roster", Tablet, get(officer::kept::show_roster)),
        show("/rigs/{rig}/used", Tablet, get(crew::used::show_of_rig)),
        send("/rigs/{rig}/used", Tablet, post(crew::used::take_of_rig)),
        show("/rigs/{rig}/spares", Tablet, get(crew::spares::show_form)),
        send("/rigs/{rig}/spares", Tablet, post(crew::spares::take_form)),
        show("/units/{unit}/used", Tablet, get(crew::used::show_of_unit)),
        send("/units/{unit}/used", Tablet, post(crew::used::take_of_unit)),
        show("/forms/{profile}", Tablet, get(crew::check::show_blank)),
        show("/forms/{profile}/after-use", Tablet, get(crew::check::show_blank_after_use)),
        show("/unproven", Tablet, get(crew::unproven::show_list)),
        send("/records/{seq}/prove", Tablet, post(crew::unproven::prove)),
        show("/records/{seq}", Tablet, get(crew::record::show_record)),
        // The officer.
        shelved("/rigs", OFFICER, get(officer::roster::show_rigs)),
        show("/rigs/{rig}", OFFICER, get(officer::roster::show_rig)),
        show("/rigs/{rig}/crew", OFFICER, get(officer::crew::show_form)),
        send("/rigs/{rig}/crew", OFFICER, post(officer::crew::put_on)),
        show("/rigs/{rig}/accept", OFFICER, get(officer::accept::show_form)),
        send("/rigs/{rig}/accept", OFFICER, post(officer::accept::accept)),
        show("/rigs/{rig}/status", OFFICER, get(officer::status::show_form)),
        send("/rigs/{rig}/status", OFFICER, post(officer::status::set_status)),
        send("/rigs/{rig}/everything", OFFICER, post(officer::status::move_everything)),
        show("/rigs/{rig}/sheet", OFFICER, get(officer::sheet::show_sheet)),
        show("/past", OFFICER, get(officer::past::show_past)),
        show("/past/pack", OFFICER, get(officer::past::give_pack)),
        show("/questions", OFFICER, get(officer::past::show_questions)),
        show("/uninspected", OFFICER, get(officer::sheet::show_uninspected)),
        show("/cadences", OFFICER, get(officer::cadences::show_list)),
        send("/cadences", OFFICER, post(officer::cadences::set)),
        show("/wall", Tablet, get(officer::wall::show_all)),
        show("/wall/events", Tablet, get(officer::wall::show_events)),
        show("/wall/{station}", Tablet, get(officer::wall::show_station)),
        show("/swap", OFFICER, get(officer::swap::show_plan)),
        send("/swap", OFFICER, post(officer::swap::carry_out)),
        show("/teams", OFFICER, get(officer::teams::show_teams)),
        show("/fitness", OFFICER, get(officer::fitness::show_all)),
        show("/fitness/{member}", OFFICER, get(officer::fitness::show_one)),
        send("/fitness/{member}/fit", OFFICER, post(officer::fitness::enter_fit)),
        send("/fitness/{member}/clearance", OFFICER, post(officer::fitness::enter_clearance)),
        send("/fitness/{member}/erase", OFFICER, post(officer::fitness::erase)),
        send("/records/{seq}/read", OFFICER, post(officer::late::acknowledge)),
        show("/records/{seq}/settle", OFFICER, get(officer::settle::show_form)),
        send("/records/{seq}/settle", OFFICER, post(officer::settle::settle)),
        show("/tablets/gaps", OFFICER, get(officer::gaps::show_gaps)),
        send("/tablets/gaps", OFFICER, post(officer::gaps::deal_with)),
        show("/countersign", OFFICER, get(officer::countersign::show_list)),
        send("/countersign", OFFICER, post(officer::countersign::countersign)),
        send("/countersign/setting", ADMIN, post(officer::countersign::set)),
        show("/records/{seq}/correct", OFFICER, get(officer::correct::show_form)),
        send("/records/{seq}/correct", OFFICER, post(officer::correct::correct)),
        send("/records/{seq}/attest", OFFICER, post(officer::attest::attest)),
        show("/pins", OFFICER, get(officer::pins::show_stopped)),
        send("/pins/allow", OFFICER, post(officer::pins::allow)),
        show("/unsent/import", OFFICER, get(officer::import::show_form)),
        send("/unsent/import", OFFICER, post(officer::import::take_file)),
        show("/tablets", OFFICER, get(officer::tablets::show_list)),
        send("/tablets", OFFICER, post(officer::tablets::make_code)),
        show("/tablets/{tablet}", OFFICER, get(officer::tablets::show_tablet)),
        send("/tablets/{tablet}/revoke", OFFICER, post(officer::tablets::revoke)),
        // The administrator.
        show("/settings", OFFICER, get(admin::settings::show)),
        send("/settings/department", ADMIN, post(admin::settings::set_department)),
        send("/settings/platoons", ADMIN, post(admin::settings::set_platoons)),
        send("/settings/identification", ADMIN, post(admin::settings::set_identification)),
        send("/settings/drives", ADMIN, post(admin::settings::set_drive)),
        show("/register", ADMIN, get(admin::register::show_index)),
        show("/register/{table}", ADMIN, get(admin::register::show_list)),
        show("/register/{table}/{id}", ADMIN, get(admin::register::show_entry)),
        send("/register/{table}/{id}", ADMIN, post(admin::register::take_entry)),
        send("/members/{member}/pin", ADMIN, post(admin::member::set_pin)),
        send("/members/{member}/leave", ADMIN, post(admin::member::leave)),
        send("/members/{member}/erase", ADMIN, post(admin::member::erase)),
        show("/rules", ADMIN, get(admin::rules::show_list)),
        send("/rules", ADMIN, post(admin::rules::take_draft)),
        show("/rules/{digest}", ADMIN, get(admin::rules::show_table)),
        show("/rules/{digest}/text", ADMIN, get(admin::rules::show_text)),
        send("/rules/{digest}/start", ADMIN, post(admin::rules::start)),
        send("/rules/{digest}/drop", ADMIN, post(admin::rules::drop_draft)),
        show("/register/import", ADMIN, get(admin::tables::show_form)),
        send("/register/import", ADMIN, post(admin::tables::take_files)),
        show("/register/import/{table}", ADMIN, get(admin::tables::show_blank)),
        // The technician.
        shelved("/bench", BENCH, get(bench::queue::show_queue)),
        show("/watch", BENCH, get(bench::watch::show_list)),
        show("/tickets/{ticket}", BENCH, get(bench::ticket::show_ticket)),
        show("/tickets/{ticket}/prove", TECHNICIAN, get(bench::ticket::start_proof)),
        send("/tickets/{ticket}/stage", TECHNICIAN, post(bench::ticket::set_stage)),
        send("/tickets/{ticket}/join", TECHNICIAN, post(bench::joining::join)),
        send("/tickets/{ticket}/apart", TECHNICIAN, post(bench::joining::take_apart)),
        send("/tickets/{ticket}/split", TECHNICIAN, post(bench::joining::split)),
        send("/tickets/{ticket}/work", TECHNICIAN, post(bench::ticket::take_work)),
        send(
            "/tickets/{ticket}/photos",
            TECHNICIAN,
            post(photos::take_for_ticket).layer(DefaultBodyLimit::max(photos::LARGEST_BODY)),
        ),
        send("/tickets/{ticket}/return", TECHNICIAN, post(bench::returning::take_form)),
        show("/units/{unit}/parts", BENCH, get(bench::parts::show_parts)),
        send("/units/{unit}/parts", TECHNICIAN, post(bench::parts::take_part)),
        show("/approvals", BENCH, get(bench::parts::show_approvals)),
        send("/approvals", ADMIN, post(bench::parts::take_approval)),
        show("/notices", BENCH, get(bench::notices::show_notices)),
        send("/notices", RETIRE, post(bench::notices::take_notice)),
        show("/notices/{notice}", BENCH, get(bench::notices::show_notice)),
        send("/notices/{notice}/done", TECHNICIAN, post(bench::notices::deal_with)),
        send("/notices/{notice}/end", ADMIN, post(bench::notices::end)),
        show("/labels", BENCH, get(bench::labels::show_labels)),
        show("/units/{unit}/clear", BENCH, get(bench::clear::show_form)),
        send("/units/{unit}/clear", BENCH, post(bench::clear::clear)),
        send("/units/{unit}/move", BENCH, post(bench::moving::move_unit)),
        show("/loans", BENCH, get(officer::loans::show_loans)),
        send("/loans", BENCH, post(officer::loans::borrow)),
        show("/units/{unit}/lend", BENCH, get(officer::loans::show_lend)),
        send("/units/{unit}/lend", BENCH, post(officer::loans::lend)),
        send("/units/{unit}/back", BENCH, post(officer::loans::give_back)),
        show("/units/{unit}/retire", RETIRE, get(bench::retire::show_form)),
        send("/units/{unit}/retire", RETIRE, post(bench::retire::retire)),
        // Upkeep, cylinders and facepieces, fills and air.
        show("/upkeep", BENCH, get(upkeep::months::show_months)),
        // A calendar program cannot sign in: there is a secret word in the address.
        show("/upkeep.ics", Anyone, get(upkeep::months::show_feed)),
        show("/cylinders", MEMBER, get(upkeep::thing::list_cylinders)),
        show("/facepieces", MEMBER, get(upkeep::thing::list_facepieces)),
        show("/assets/{asset}", MEMBER, get(upkeep::thing::show_thing)),
        send("/assets/{asset}/put", BENCH, post(upkeep::thing::put)),
        show("/assets/{asset}/upkeep", MEMBER, get(upkeep::done::show_form)),
        send("/assets/{asset}/upkeep", MEMBER, post(upkeep::done::take_form)),
        show("/assets/{asset}/seal", Tablet, get(upkeep::seal::show_seal)),
        send("/assets/{asset}/seal", Tablet, post(upkeep::seal::seal)),
        send("/assets/{asset}/hand-over", Tablet, post(upkeep::seal::hand_over)),
        show("/assets/{asset}/release", ADMIN, get(upkeep::release::show_release)),
        send("/assets/{asset}/release", ADMIN, post(upkeep::release::release)),
        show("/assets/{asset}/marks", ADMIN, get(upkeep::thing::show_marks)),
        send("/assets/{asset}/marks", ADMIN, post(upkeep::thing::take_marks)),
        show("/assets/{asset}/model", ADMIN, get(upkeep::model::show_form)),
        send("/assets/{asset}/model", ADMIN, post(upkeep::model::take_form)),
        show("/assets/{asset}/condemn", RETIRE, get(upkeep::thing::show_condemn)),
        send("/assets/{asset}/condemn", RETIRE, post(upkeep::thing::condemn)),
        show("/qualifications", BENCH, get(upkeep::qualified::show)),
        send("/qualifications", ADMIN, post(upkeep::qualified::take)),
        show("/fills", MEMBER, get(upkeep::fills::show_fills)),
        send("/fills", MEMBER, post(upkeep::fills::take_fill)),
        show("/periods", BENCH, get(upkeep::periods::show_periods)),
        send("/periods", ADMIN, post(upkeep::periods::take_period)),
        show("/sources", BENCH, get(upkeep::periods::show_sources)),
        send("/sources", ADMIN, post(upkeep::periods::take_source)),
        show("/sources/{source}", MEMBER, get(upkeep::source::show_source)),
        send("/sources/{source}", BENCH, post(upkeep::source::take_sample)),
    ]
}

/// The router: every line with its guard, and all layers around.
pub fn router(app: &App) -> Router {
    let mut router = Router::new();
    for route in list() {
        let layer = middleware::from_fn_with_state((app.clone(), route.who, route.shelved), guard);
        router = router.route(route.path, route.handler.route_layer(layer));
    }
    layers::around(router.fallback(layers::not_found), app)
}
